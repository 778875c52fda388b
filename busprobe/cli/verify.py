"""`busprobe verify`: the checks of a bench file on a recording."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.cli import options
from busprobe.cli.live import (
    LIVE,
    for_time,
    live_options,
    live_screen,
    record_file,
    refuse_live_options,
    requests_option,
)
from busprobe.cli.output import print_problems, print_report, write_json
from busprobe.cli.progress import progress_bar
from busprobe.cli.same_file import RECORDING, refuse_same_file
from busprobe.report.as_json import verify_json
from busprobe.report.verified import exit_status
from busprobe.report.verify_text import verify_lines
from busprobe.session.verifying import verify


@click.command("verify")
@options.recording_or_live
@options.bench_required
@options.json_file
@options.strict
@for_time
@record_file
@requests_option
def command(
    recording: Path, bench: Path, json_file: Path | None, strict: bool, for_ns: int | None, record: Path | None,
    allow_requests: bool,
) -> int:  # fmt: skip
    """Put the checks of a bench file to the test on a recording or a live vehicle.

    RECORDING is a file; the word live stands for the vehicle itself.

    Prints a verdict on every check, what did not pass and why, and the trigger log.

    \b
    Examples:
      busprobe verify recordings/handover.duckdb --bench dbc_samples/patrol_van.toml
      busprobe verify live --bench van.toml --for 60s --record handover.duckdb --json handover.json

    \b
    Exit status:
      0  all checks pass
      1  some check failed
      2  none failed, but some are undecided or not exercised
      3  the input or the command line could not be used
    """
    refuse_same_file({"--record": record, "--json": json_file}, {RECORDING: recording}, bench)
    if recording == LIVE:
        from busprobe.session.live_bench import verify_live

        with live_screen() as show:
            report = verify_live(bench, live_options(for_ns, record, allow_requests=allow_requests), show)
    else:
        refuse_live_options(**{"for": for_ns, "record": record, "allow_requests": allow_requests})
        with progress_bar("Checking") as progress:
            report = verify(recording, bench, strict=strict, progress=progress)
    print_report(verify_lines, report)
    print_problems(report.problems)
    write_json(json_file, verify_json(report))
    return exit_status(report.checks)
