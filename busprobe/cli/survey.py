"""`busprobe survey`: what is in a recording."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.analysis.survey_report import SurveyReport
from busprobe.cli import options
from busprobe.cli.live import LIVE, for_time, live_options, live_screen, record_file, refuse_live_options
from busprobe.cli.many import ManyCommand
from busprobe.cli.output import print_problems, print_report, write_json
from busprobe.cli.progress import progress_bar
from busprobe.cli.same_file import RECORDING, refuse_same_file
from busprobe.report.survey_json import survey_json
from busprobe.report.survey_text import survey_lines
from busprobe.session.surveying import survey


@click.command("survey", cls=ManyCommand)
@options.recording_or_live
@options.bench
@options.databases
@click.option(
    "--bitrate", metavar="N", type=click.IntRange(min=1), help="Bit rate in bit/s where no bench file gives it."
)
@options.json_file
@options.strict
@for_time
@record_file
def command(
    recording: Path, bench: Path | None, databases: tuple[Path, ...], bitrate: int | None, json_file: Path | None,
    strict: bool, for_ns: int | None, record: Path | None,
) -> int:  # fmt: skip
    """Say what is in a recording or on a live vehicle: channels, identifiers, OBD, signals, roles.

    RECORDING is a file; the word live stands for the vehicle itself.

    Told are channels and bus load; period, jitter, longest gap and changing bits of every
    identifier; input boxes; what OBD traffic shows. With a bench file also which of its signals
    are present, stale or missing, a max_age to write for each, and how each role can be had: on
    the bus, by OBD answers, by a wire. Operate every door, switch and lever meanwhile.

    \b
    Examples:
      busprobe survey recordings/handover.duckdb --bench dbc_samples/patrol_van.toml
      busprobe survey drive.log --database van.dbc --bitrate 500000
      busprobe survey live --bench van.toml --for 20s
    """
    if bench is not None and databases:
        raise click.UsageError("--bench names its own databases: give --bench or --database, not both.")
    databases_read = {f"the database {file.name}": file for file in databases}
    refuse_same_file({"--record": record, "--json": json_file}, {RECORDING: recording, **databases_read}, bench)
    if recording == LIVE:
        report = _live(bench, for_ns, record)
    else:
        refuse_live_options(**{"for": for_ns, "record": record})
        with progress_bar("Surveying") as progress:
            report = survey(recording, bench, databases, bit_rate=bitrate, strict=strict, progress=progress)
    print_report(survey_lines, report)
    print_problems(report.problems)
    write_json(json_file, survey_json(report))
    return 0


def _live(bench: Path | None, for_ns: int | None, record: Path | None) -> SurveyReport:
    from busprobe.session.surveying_live import survey_live

    if bench is None:
        raise click.UsageError("A live survey takes its adapters from a bench file: give --bench.")
    with live_screen() as show:
        return survey_live(bench, live_options(for_ns, record), show)
