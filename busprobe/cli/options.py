"""Arguments and options that several commands have."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.errors import OpenError

_FILE = click.Path(path_type=Path)


def file_to_write(_ctx: click.Context, _param: click.Parameter, path: Path | None) -> Path | None:
    """Callback of an option: say before the work begins that its outcome could not be written."""
    if path is not None and not path.parent.is_dir():
        raise OpenError("The folder to write to does not exist.", path=path, hint="Make the folder first.")
    if path is not None and path.is_dir():
        raise OpenError("This is a folder.", path=path, hint="Name a file in it.")
    return path


def recording_to_write(ctx: click.Context, param: click.Parameter, path: Path | None) -> Path | None:
    """The same for a recording, whose name has to end in .duckdb."""
    if path is not None and not path.is_dir() and path.suffix.lower() != ".duckdb":
        raise OpenError(
            f'A recording ends in ".duckdb", not in "{path.suffix}".',
            path=path,
            hint=f'Name it "{path.with_suffix(".duckdb").name}".',
        )
    return file_to_write(ctx, param, path)


recording = click.argument("recording", type=_FILE)
recording_or_live = click.argument("recording", metavar="live|RECORDING", type=_FILE)
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
    "--json",
    "json_file",
    metavar="FILE",
    type=_FILE,
    callback=file_to_write,
    help="Also write the report to FILE as JSON.",
)
strict = click.option("--strict", is_flag=True, help="Stop at the first damaged record instead of leaving it out.")
