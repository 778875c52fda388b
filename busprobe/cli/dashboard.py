"""Runs the dashboard, for the commands that show it."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import click

from busprobe.cli.live import LIVE

if TYPE_CHECKING:
    from busprobe.session.scene import Scene
    from busprobe.tui.app import BusprobeApp
    from busprobe.tui.recent import Opened

theme_option = click.option(
    "--theme", type=click.Choice(("dark", "light", "contrast")), default="dark", show_default=True, help="Colours."
)


def run_dashboard(first: Callable[[Path], Scene | None], theme: str) -> int:
    """Show a scene, and others that are opened there; the exit status.

    first: opens the scene, or None for the start page, given a directory that is gone afterwards.
    """
    from busprobe.report.cautions import CAUTIONS
    from busprobe.tui.app import BusprobeApp

    with TemporaryDirectory(prefix="busprobe-") as name:
        directory = Path(name)

        def opener(opened: Opened) -> Scene:
            return open_opened(opened) if any(opened) else demo(directory)

        app = BusprobeApp(first(directory), opener=opener, cautions=CAUTIONS, theme=f"busprobe-{theme}")
        try:
            with _ended_by_signals(app):
                app.run()
        finally:
            if app.scene is not None:
                app.scene.close()
    for text in app.saved:
        click.echo(text)
    return app.return_code or 0


def open_opened(opened: Opened) -> Scene:
    """A recording, or the live vehicle of a bench file."""
    from busprobe.session.scenes import open_scene

    return open_scene(opened.recording or LIVE, opened.bench)


def demo(directory: Path) -> Scene:
    """The simulated van, live."""
    from busprobe.van.demo import open_demo

    return open_demo(directory)


@contextmanager
def _ended_by_signals(app: BusprobeApp) -> Iterator[None]:
    """A request to end, or a terminal that is gone, ends in order: recordings are closed, the demo's van too."""
    before = {number: signal.signal(number, lambda *_: app.exit()) for number in _ENDING}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


_ENDING = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))
