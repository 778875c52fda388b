"""`busprobe adapters`: which bus adapters and serial ports there are."""

from __future__ import annotations

import click

from busprobe.cli.output import print_lines
from busprobe.report.adapters_text import adapters_lines
from busprobe.sources.adapters import WAIT_S, find_adapters


@click.command("adapters")
@click.option(
    "--wait", "wait_s", metavar="SECONDS", type=click.FloatRange(min=0.1, max=60.0), default=WAIT_S, show_default=True,
    help="How long drivers may take to answer.",
)  # fmt: skip
def command(wait_s: float) -> None:
    """List bus adapters and serial ports, and say what others need.

    Nothing is opened and nothing is sent.

    \b
    Example:
      busprobe adapters
    """
    print_lines(adapters_lines(find_adapters(wait_s)))
