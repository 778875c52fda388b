"""Runs the dashboard, for the commands that show it."""

from __future__ import annotations

import gc
import os
import select
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import click

from busprobe.cli.live import LIVE
from busprobe.cli.pipes import STREAMS, also_on_terminal, without_terminal
from busprobe.errors import DeviceError

if TYPE_CHECKING:
    from busprobe.session.scene import Scene
    from busprobe.tui.app import BusprobeApp
    from busprobe.tui.recent import Opened

theme_option = click.option(
    "--theme", type=click.Choice(("dark", "light", "contrast")), default="dark", show_default=True, help="Colours."
)


LOOK_MS = 500
"""How long it may go on unseen after its terminal has gone."""


def refuse_without_terminal() -> None:
    """Raise DeviceError where there is no terminal to show the dashboard on."""
    missing = without_terminal()
    if missing:
        error = DeviceError(
            f"busprobe open needs a terminal: {no_terminal_text(missing)}.",
            hint="busprobe verify gives the verdicts without one.",
        )
        also_on_terminal(str(error))
        raise error


def no_terminal_text(missing: Sequence[str]) -> str:
    """Why there is no dashboard: "stderr is none (start it without 2>FILE)"."""
    if len(missing) == len(STREAMS):
        return "it was started without one"
    ways = {"stdin": "a pipe before it or <FILE", "stdout": "a pipe after it or >FILE", "stderr": "2>FILE"}
    return " and ".join(f"{name} is none (start it without {ways[name]})" for name in missing)


def run_dashboard(first: Callable[[Path], Scene | None], theme: str) -> int:
    """Show a scene, and others that are opened there; the exit status.

    first: opens the scene, or None for the start page, given a directory that is gone afterwards.
    """
    with _no_collection_until_shown(), TemporaryDirectory(prefix="busprobe-") as name:
        directory = Path(name)
        with ThreadPoolExecutor(1) as aside:  # opening waits for disk and database, imports for the processor
            opening = aside.submit(first, directory)
            from busprobe.report.cautions import CAUTIONS
            from busprobe.tui.app import BusprobeApp

        def opener(opened: Opened) -> Scene:
            return open_opened(opened) if any(opened) else demo(directory)

        app = BusprobeApp(opening.result(), opener=opener, cautions=CAUTIONS, theme=f"busprobe-{theme}")
        try:
            with _ended_by_signals(app), _signalled_when_the_terminal_goes():
                app.run()
        finally:
            if app.scene is not None:
                app.scene.close()
                _wait_for_recordings()
    for text in app.saved:
        click.echo(text)
    return app.return_code or 0


def _wait_for_recordings() -> None:
    """A slow disk or a busy computer may take longer over closing a file than a scene waits for."""
    from busprobe.session.recorder import not_closed_yet

    for recorder in not_closed_yet():
        with suppress(OSError):  # of a terminal that is gone
            click.echo(f"{recorder.path.name}: the recording is being closed.", err=True)
        recorder.join()


def open_opened(opened: Opened, *, allow_requests: bool = False) -> Scene:
    """A recording, or the live vehicle of a bench file."""
    from busprobe.session.scenes import open_scene

    return open_scene(opened.recording or LIVE, opened.bench, allow_requests=allow_requests)


def demo(directory: Path) -> Scene:
    """The simulated van, live."""
    from busprobe.van.demo import open_demo

    return open_demo(directory)


@contextmanager
def _no_collection_until_shown() -> Iterator[None]:
    """Nothing that opening makes is garbage, and looking through it takes long; the app switches it on again."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


@contextmanager
def _ended_by_signals(app: BusprobeApp) -> Iterator[None]:
    """A request to end, or a terminal that is gone, ends in order: recordings are closed, the demo's van too."""
    before = {number: signal.signal(number, lambda *_: app.exit()) for number in _ENDING}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def _signalled_when_the_terminal_goes() -> Iterator[None]:
    """Send SIGHUP where nobody else does: to a program that is not in charge of its terminal."""
    if not hasattr(select, "poll") or not hasattr(signal, "SIGHUP"):
        yield
        return
    over = threading.Event()

    def watch() -> None:
        terminal = select.poll()
        terminal.register(sys.stdin.fileno(), 0)  # no event asked for: only the end of it is told
        while not over.is_set():
            if terminal.poll(LOOK_MS):
                os.kill(os.getpid(), signal.SIGHUP)
                return

    watcher = threading.Thread(target=watch, name="terminal", daemon=True)
    watcher.start()
    try:
        yield
    finally:
        over.set()


_ENDING = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))
