"""`busprobe open`: the dashboard, on a live vehicle, a recording, or its start page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from busprobe.cli import options
from busprobe.cli.dashboard import open_opened, refuse_without_terminal, run_dashboard, theme_option
from busprobe.cli.live import LIVE, refuse_live_options, requests_option

if TYPE_CHECKING:
    from busprobe.session.scene import Scene


@click.command("open")
@click.argument("target", metavar="[live|RECORDING]", type=click.Path(path_type=Path), required=False)
@options.bench
@requests_option
@theme_option
def command(target: Path | None, bench: Path | None, allow_requests: bool, theme: str) -> int:
    """Watch a live vehicle or replay a recording on the six screens of the dashboard.

    They show what the vehicle and the controller do, every frame, the way from a wire to a lamp,
    the checks, the health of the sources, and a guided walk that confirms one role after the
    other; ? lists the keys. A terminal is needed.

    Without an argument a start page lists what was open before; --bench alone opens the live
    vehicle. The recording may be of another program; then the bench file says what is in it.

    Leave to ask, --allow-requests, holds for this vehicle only: what is opened later from the
    start page is listened to.

    \b
    Examples:
      busprobe open live --bench van.toml
      busprobe open live --bench van.toml --allow-requests
      busprobe open drive.duckdb
      busprobe open
    """
    if target not in (None, LIVE) or (target is None and bench is None):
        refuse_live_options(allow_requests=allow_requests)
    refuse_without_terminal()
    from busprobe.tui.recent import Opened, remember

    if target is None and bench is None:
        return run_dashboard(lambda _: None, theme)
    opened = Opened(None if target in (None, LIVE) else target, bench)

    def first(_: Path) -> Scene:
        scene = open_opened(opened, allow_requests=allow_requests)
        remember(opened)
        return scene

    return run_dashboard(first, theme)
