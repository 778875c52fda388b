"""The bench file of the simulated van, as shipped in dbc_samples/."""

from __future__ import annotations

from importlib.resources import files

VEHICLE = "Harrowdale County Roads, winter patrol van 12"
BENCH_FILE = "patrol_van.toml"
DATABASE_FILE = "patrol_van.dbc"


def bench_text() -> str:
    """Text of the bench file; it is kept beside this module so that an installed package has it."""
    return files("busprobe.van").joinpath(BENCH_FILE).read_text(encoding="utf-8")
