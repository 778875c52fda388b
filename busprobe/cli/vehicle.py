"""`busprobe vehicle`: VIN, trouble codes, readiness and battery voltage, before and after an installation."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.cli import options
from busprobe.cli.live import LIVE
from busprobe.cli.main import say
from busprobe.cli.output import print_problems, print_report, write_json
from busprobe.cli.progress import progress_bar
from busprobe.cli.same_file import RECORDING, refuse_same_file
from busprobe.errors import OpenError
from busprobe.report.vehicle_json import vehicle_json
from busprobe.report.vehicle_report import VehicleReport
from busprobe.report.vehicle_saved import load_vehicle
from busprobe.report.vehicle_text import saved_lines, vehicle_lines
from busprobe.session.vehicle import compared, vehicle_live, vehicle_recorded

_FILE = click.Path(path_type=Path)


@click.command("vehicle")
@options.recording_or_live
@options.bench
@click.option("--allow-requests", is_flag=True, help="Live: send standard OBD requests (01, 03, 07, 09, 0A).")
@click.option(
    "--save",
    metavar="FILE",
    type=_FILE,
    callback=options.file_to_write,
    help="Keep the reading in FILE (JSON), for --against later on.",
)
@click.option("--against", metavar="FILE", type=_FILE, help="Say what has changed since the reading in FILE.")
@options.json_file
@options.strict
def command(
    recording: Path, bench: Path | None, allow_requests: bool, save: Path | None, against: Path | None,
    json_file: Path | None, strict: bool,
) -> int:  # fmt: skip
    """Read VIN, PIDs, trouble codes, readiness and voltage, recorded or live; compare with before.

    RECORDING is a file; the word live stands for the vehicle itself.

    Save a reading before the installation and compare one after it. Live, the bus has to have
    listen_only = false in the bench file; services that only read are asked, at most 10 requests a
    second, never beside another tester. Nothing is cleared or written.

    \b
    Examples:
      busprobe vehicle live --bench van.toml --allow-requests --save before.json
      busprobe vehicle live --bench van.toml --allow-requests --against before.json
      busprobe vehicle recordings/handover.duckdb

    \b
    Exit status:
      0  read; with --against: nothing is worse than before
      1  with --against: a new code, the lamp is on, or readiness was reset
      2  with --against: nothing is worse, but something could not be compared
      3  nothing could be read, or it is another vehicle than before
    """
    refuse_same_file({"--save": save, "--json": json_file}, {RECORDING: recording, "--against": against}, bench)
    if save is not None and save.exists():
        raise OpenError("this file is there already.", path=save, hint="Give --save another name.")
    if against is not None:
        load_vehicle(against)  # a wrong file is told before the vehicle is asked
    report = _read(recording, bench, allow_requests, strict)
    if against is not None:
        report = compared(report, against)
    print_report(vehicle_lines, report)
    if report.problems is not None:
        print_problems(report.problems)
    for path in (save, json_file):
        write_json(path, vehicle_json(report))
    if save is not None:
        for line in saved_lines(report, save):
            say(line)
    return report.exit_status


def _read(recording: Path, bench: Path | None, allow_requests: bool, strict: bool) -> VehicleReport:
    if recording != LIVE:
        if allow_requests:
            raise click.UsageError('--allow-requests goes with "live", not with a recording.')
        with progress_bar("Reading") as progress:
            return vehicle_recorded(recording, bench, strict=strict, progress=progress)
    if bench is None:
        raise click.UsageError('"live" needs --bench: it names the bus.')
    return vehicle_live(bench, allow_requests=allow_requests, say=say)
