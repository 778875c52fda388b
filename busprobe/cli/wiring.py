"""`busprobe wiring`: how the input boxes are to be connected."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.cli import options
from busprobe.cli.output import print_lines
from busprobe.report.wiring import wiring_lines
from busprobe.session.verifying import load_checked


@click.command("wiring")
@options.bench_required
def command(bench: Path) -> int:
    """Say how the input boxes of a bench file are to be wired.

    For each input of each box: wire, signal, and the voltage to expect; then resistors,
    isolation, ground and fuses, and the usual cautions. Nothing is opened or sent.

    \b
    Example:
      busprobe wiring --bench dbc_samples/patrol_van.toml
    """
    print_lines(wiring_lines(load_checked(bench)))
    return 0
