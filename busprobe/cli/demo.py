"""`busprobe demo`: the simulated van on the dashboard; without a terminal, verdicts on two of its drives."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import click

from busprobe.cli.dashboard import demo, no_terminal_text, run_dashboard, theme_option
from busprobe.cli.output import print_lines
from busprobe.cli.pipes import also_on_terminal, without_terminal
from busprobe.cli.progress import progress_bar
from busprobe.report.verify_text import verify_lines
from busprobe.session.verifying import verify
from busprobe.van.make import SHIPPED, write_recordings, write_samples
from busprobe.van.samples import BENCH_FILE


@click.command("demo")
@click.option("--headless", is_flag=True, help="Only the verdicts on two drives, as without a terminal.")
@theme_option
def command(headless: bool, theme: str) -> int:
    """Watch a simulated patrol van on the dashboard, or print the verdicts on two of its drives.

    The van drives in a process of its own, heard on this machine only; it starts two minutes into
    its drive, and key 7 of the dashboard sets its faults. It ends with the dashboard.

    Where stdin, stdout or stderr is no terminal, verdicts on two drives are printed instead: a hand-over
    run in which all is right, and one with five planted faults. Either way no file is left behind.

    \b
    Examples:
      busprobe demo
      busprobe demo --headless
    """
    missing = without_terminal()
    if not (headless or missing):
        click.echo("Starting the simulated van …", err=True)
        return run_dashboard(demo, theme)
    if not headless:
        told = f"The dashboard needs a terminal: {no_terminal_text(missing)}. Verdicts on two drives instead."
        click.echo(told, err=True)
        also_on_terminal(told)
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
