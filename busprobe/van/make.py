"""Writes the shipped samples and recordings again.

    python -m busprobe.van.make recordings/ dbc_samples/

recordings/handover.duckdb     seed 1, nothing planted: every check passes
recordings/five_faults.duckdb  seed 2, all five faults planted
dbc_samples/patrol_van.dbc     the database of the van's bus
dbc_samples/patrol_van.toml    a copy of the bench file beside this module
The second directory may be left out; then only the recordings are written.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from busprobe.van.database import database_text
from busprobe.van.faults import ALL_FAULTS, Fault
from busprobe.van.generate import write_recording
from busprobe.van.samples import BENCH_FILE, DATABASE_FILE, bench_text

SHIPPED: dict[str, tuple[int, tuple[Fault, ...]]] = {
    "handover.duckdb": (1, ()),
    "five_faults.duckdb": (2, ALL_FAULTS),
}
"""File name -> seed and faults."""


def write_samples(directory: Path) -> None:
    (directory / DATABASE_FILE).write_text(database_text(), encoding="utf-8", newline="\n")
    (directory / BENCH_FILE).write_text(bench_text(), encoding="utf-8", newline="\n")


def write_recordings(directory: Path) -> None:
    for name, (seed, faults) in SHIPPED.items():
        write_recording(directory / name, seed, faults, overwrite=True)


def main(arguments: Sequence[str]) -> int:
    if len(arguments) not in (1, 2):
        sys.stderr.write("Usage: python -m busprobe.van.make RECORDINGS [SAMPLES]\n")
        return 2
    write_recordings(Path(arguments[0]))
    if len(arguments) == 2:
        write_samples(Path(arguments[1]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
