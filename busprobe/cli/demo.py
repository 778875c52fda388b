"""`busprobe demo`: verdicts on two drives of a simulated patrol van."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import click

from busprobe.cli.output import print_lines
from busprobe.cli.progress import progress_bar
from busprobe.report.verify_text import verify_lines
from busprobe.session.verifying import verify
from busprobe.van.make import SHIPPED, write_recordings, write_samples
from busprobe.van.samples import BENCH_FILE


@click.command("demo")
def command() -> int:
    """Show verdicts on two drives of a simulated patrol van.

    The first is a hand-over run in which all is right; five faults are planted in the second.
    Nothing is read from a bus and no file is left behind.

    \b
    Example:
      busprobe demo
    """
    with TemporaryDirectory(prefix="busprobe-") as name:
        directory = Path(name)
        with progress_bar("Driving"):
            write_samples(directory)
            write_recordings(directory)
        for drive in SHIPPED:
            with progress_bar("Checking") as progress:
                report = verify(directory / drive, directory / BENCH_FILE, progress=progress)
            print_lines([*verify_lines(report), ""])
    return 0
