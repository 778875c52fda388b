"""Arguments and options that several commands have."""

from __future__ import annotations

from pathlib import Path

import click

_FILE = click.Path(path_type=Path)

recording = click.argument("recording", type=_FILE)
bench_required = click.option(
    "--bench", metavar="FILE", type=_FILE, required=True, help="Bench file of the vehicle (TOML)."
)
bench = click.option("--bench", metavar="FILE", type=_FILE, help="Bench file of the vehicle (TOML).")
databases = click.option(
    "--database",
    "databases",
    metavar="FILE",
    type=_FILE,
    multiple=True,
    help="Signal database (DBC); several may follow.",
)
json_file = click.option(
    "--json", "json_file", metavar="FILE", type=_FILE, help="Also write the report to FILE as JSON."
)
strict = click.option("--strict", is_flag=True, help="Stop at the first damaged record instead of leaving it out.")
