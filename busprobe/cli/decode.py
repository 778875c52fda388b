"""`busprobe decode`: the signals of a recording as a table in a file."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.cli import options
from busprobe.cli.many import ManyCommand
from busprobe.cli.output import print_lines, print_problems
from busprobe.cli.progress import progress_bar
from busprobe.cli.same_file import RECORDING, refuse_same_file
from busprobe.report.decode_text import decode_lines
from busprobe.session.decoding import decode


@click.command("decode", cls=ManyCommand)
@options.recording
@options.databases
@click.option(
    "--to",
    "target",
    metavar="FILE",
    type=click.Path(path_type=Path),
    required=True,
    help="File to write, ending .csv or .parquet; an older one is replaced.",
)
@click.option(
    "--signals",
    metavar="NAME",
    multiple=True,
    help="Only these signals, each as Signal or Message.Signal.",
)
@options.strict
def command(
    recording: Path, databases: tuple[Path, ...], target: Path, signals: tuple[str, ...], strict: bool
) -> int:  # fmt: skip
    """Write every sample of every signal of a recording as a table, CSV or Parquet.

    One row a sample. Columns: time_s, channel, message, signal, raw, value, label, unit.

    \b
    Examples:
      busprobe decode recordings/handover.duckdb --database dbc_samples/patrol_van.dbc --to drive.parquet
      busprobe decode drive.log --database van.dbc --to gear.csv --signals SelectedGear WheelSpeed.VehicleSpeed

    \b
    Exit status:
      0  written
      3  the input or the command line could not be used, or none of the
         database's messages is in the recording; nothing was written
    """
    if not databases:
        raise click.UsageError("--database FILE is missing: it says which signals there are.")
    read = {RECORDING: recording, **{f"the database {file.name}": file for file in databases}}
    refuse_same_file({"--to": target}, read, None)
    with progress_bar("Decoding") as progress:
        report = decode(recording, databases, target, signals=signals, strict=strict, progress=progress)
    print_lines(decode_lines(report))
    print_problems(report.problems)
    return 0
