"""`busprobe record`: a live vehicle to a recording."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.cli import options
from busprobe.cli.live import LEAST_RING, LIVE, Size, for_time, live_options, live_screen, requests_option
from busprobe.cli.output import print_report, write_json
from busprobe.cli.same_file import refuse_same_file
from busprobe.report.as_json import verify_json
from busprobe.report.verify_text import verify_lines

STOPPED_EARLY = 1


def _only_live(_ctx: click.Context, _param: click.Parameter, word: str | None) -> None:
    """Callback of the argument: what is recorded is always the vehicle itself."""
    if word is not None and word != str(LIVE):
        raise click.UsageError(
            f'"{word}" cannot be recorded: record takes the vehicle itself, so the only word here is "live", and it '
            f"may be left out. The file to write goes after --out. What is recorded already is looked at with "
            f"busprobe verify, survey or open."
        )


@click.command("record")
@click.argument("source", metavar="[live]", required=False, is_eager=True, expose_value=False, callback=_only_live)
@options.bench_required
@click.option(
    "--out",
    metavar="FILE",
    type=click.Path(path_type=Path),
    required=True,
    callback=options.recording_to_write,
    help="Recording (.duckdb).",
)
@for_time
@click.option(
    "--ring",
    metavar="SIZE",
    type=Size(LEAST_RING),
    help="Keep about this much, like 2GB, at least 10MB; the oldest is dropped.",
)
@click.option("--on-wake", is_flag=True, help="Start with the first frame on a bus.")
@requests_option
@options.json_file
def command(
    bench: Path,
    out: Path,
    for_ns: int | None,
    ring: int | None,
    on_wake: bool,
    allow_requests: bool,
    json_file: Path | None,
) -> int:
    """Record every bus and input box of a live vehicle, with the verdicts at the end.

    The bench file names them. Ctrl-C ends the recording in order. A killed process loses no more
    than the last second; it leaves FILE.wal beside FILE: keep both together. A box line named
    marker_line in the bench file's [record] table sets markers. The word live may be left out: what
    is recorded is always the vehicle itself.

    \b
    Examples:
      busprobe record --bench van.toml --out drive.duckdb --for 10m
      busprobe record --bench van.toml --out hunt.duckdb --ring 2GB --on-wake

    \b
    Exit status, whatever the verdicts are; also after Ctrl-C:
      0  recorded until the end of the run
      1  recording stopped before the run ended: the disk is nearly full or failed
      3  nothing was recorded: no source could be opened, the file is there
         already, or the bench file or the command line could not be used
    """
    from busprobe.session.live_bench import verify_live

    refuse_same_file({"--out": out, "--json": json_file}, {}, bench)
    with live_screen() as show:
        if on_wake:
            click.echo("Waiting for the first frame.", err=True)
        wanted = live_options(for_ns, out, ring=ring, on_wake=on_wake, allow_requests=allow_requests)
        report = verify_live(bench, wanted, show)
    print_report(verify_lines, report)
    write_json(json_file, verify_json(report))
    return STOPPED_EARLY if report.stopped_early else 0
