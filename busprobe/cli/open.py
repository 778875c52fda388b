"""`busprobe open`: the dashboard, on a live vehicle, a recording, or its start page."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import click

from busprobe.cli import options
from busprobe.cli.live import LIVE

if TYPE_CHECKING:
    from busprobe.session.scene import Scene
    from busprobe.tui.app import Opener
    from busprobe.tui.recent import Opened

_THEMES = ("dark", "light", "contrast")


@click.command("open")
@click.argument("target", metavar="[live|RECORDING]", type=click.Path(path_type=Path), required=False)
@options.bench
@click.option("--theme", type=click.Choice(_THEMES), default="dark", show_default=True, help="Colours.")
def command(target: Path | None, bench: Path | None, theme: str) -> int:
    """Watch a live vehicle or replay a recording on five screens.

    Without an argument a start page lists what was open before. The recording may be of
    another program; then the bench file says what is in it.

    \b
    Examples:
      busprobe open live --bench van.toml
      busprobe open drive.duckdb
      busprobe open
    """
    from busprobe.report.cautions import CAUTIONS
    from busprobe.tui.app import BusprobeApp
    from busprobe.tui.recent import Opened, remember

    scene = None
    if target is not None or bench is not None:
        opened = Opened(None if target in (None, LIVE) else target, bench)
        scene = _open(opened)
        remember(opened)
    with _opener() as opener:
        app = BusprobeApp(scene, opener=opener, cautions=CAUTIONS, theme=f"busprobe-{theme}")
        try:
            app.run()
        finally:
            if app.scene is not None:
                app.scene.close()
    for text in app.saved:
        click.echo(text)
    return app.return_code or 0


def _open(opened: Opened) -> Scene:
    from busprobe.session.scenes import open_scene

    return open_scene(opened.recording or LIVE, opened.bench)


@contextmanager
def _opener() -> Iterator[Opener]:
    """Opens what the start page asks for; the demo lies in a directory that is gone afterwards."""
    with TemporaryDirectory(prefix="busprobe-") as name:

        def opener(opened: Opened) -> Scene:
            return _open(opened if any(opened) else _demo(Path(name)))

        yield opener


def _demo(directory: Path) -> Opened:
    """The hand-over drive of the patrol van, written anew."""
    from busprobe.tui.recent import Opened
    from busprobe.van.generate import write_recording
    from busprobe.van.make import SHIPPED

    drive = "handover.duckdb"
    seed, faults = SHIPPED[drive]
    write_recording(directory / drive, seed, faults, overwrite=True)
    return Opened(directory / drive, None)
