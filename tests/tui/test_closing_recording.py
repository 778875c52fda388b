"""A recording that was just made is chosen while its file is still being closed."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import can
import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from busprobe.bench.load import loads
from busprobe.cli.dashboard import open_opened
from busprobe.engine.plan import build
from busprobe.recording.write import RecordingWriter
from busprobe.session.live_scene import LiveScene
from busprobe.session.replay_scene import ReplayScene
from busprobe.tui.app import BusprobeApp
from busprobe.tui.recent import Opened, recent
from busprobe.tui.screens.ask import AskYes
from busprobe.tui.screens.start import StartPage
from busprobe.tui.screens.state import StateBoard

SIZE = (80, 24)
BENCH = """[vehicle]
name = "van"
[[bus]]
name = "body"
interface = "virtual"
channel = "{}"
"""
FRAMES = 20


class Closing:
    """Recordings are closed when it lets them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.begun, self.may_go_on = threading.Event(), threading.Event()
        close = RecordingWriter.close

        def slow(writer: RecordingWriter) -> None:
            self.begun.set()
            assert self.may_go_on.wait(30)
            close(writer)

        monkeypatch.setattr(RecordingWriter, "close", slow)


@pytest.fixture
def closing(monkeypatch: pytest.MonkeyPatch) -> Iterator[Closing]:
    held = Closing(monkeypatch)
    yield held
    held.may_go_on.set()


@pytest.fixture
def vehicle(tmp_path: Path) -> Iterator[can.BusABC]:
    with can.Bus(interface="virtual", channel=tmp_path.name) as bus:
        yield bus


async def until(pilot: Pilot[None], holds: Callable[[], bool]) -> None:
    async with asyncio.timeout(30):
        while not holds():
            await pilot.pause(0.02)


def said(app: BusprobeApp) -> str:
    return str(app.screen.query_one("#said").render())


def scene_of(folder: Path) -> LiveScene:
    return LiveScene(build(loads(BENCH.format(folder.name)), {}), {})


async def record(app: BusprobeApp, pilot: Pilot[None], path: Path, vehicle: can.BusABC) -> None:
    """Begin a recording, and have some frames in it."""
    await pilot.press("r")
    await pilot.pause()
    app.screen.query_one(Input).value = str(path)
    await pilot.press("enter")
    await until(pilot, lambda: app.is_recording)
    for number in range(FRAMES):
        vehicle.send(can.Message(arbitration_id=0x0E4, is_extended_id=False, data=bytes((number,))))
    scene = app.scene
    assert isinstance(scene, LiveScene)
    await until(pilot, lambda: scene._run.frames >= FRAMES)


async def test_it_opens_as_soon_as_it_is_closed(tmp_path: Path, vehicle: can.BusABC, closing: Closing) -> None:
    path = tmp_path / "drive.duckdb"
    app = BusprobeApp(scene_of(tmp_path), opener=open_opened, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await record(app, pilot, path, vehicle)
        await pilot.press("r")
        await until(pilot, lambda: closing.begun.is_set() and not app.is_recording)
        assert recent()[0] == Opened(path, None)
        await pilot.press("o")
        await pilot.pause()
        assert isinstance(app.screen, StartPage), "nothing is asked: the recording is over"
        await pilot.press("home", "enter")
        await until(pilot, lambda: said(app) == f"Opening {path} …")
        await pilot.pause(0.3)
        assert isinstance(app.screen, StartPage)
        closing.may_go_on.set()
        await until(pilot, lambda: isinstance(app.scene, ReplayScene) and isinstance(app.screen, StateBoard))
        await until(pilot, lambda: app.picture is not None and app.picture.loaded == 1.0)
        assert app.picture is not None
        assert (app.picture.failure, app.picture.title) == ("", "drive.duckdb")
        scene = app.scene
        assert isinstance(scene, ReplayScene)
        scene.player.seek(app.picture.end_ns)
        assert scene.snapshot().frames.count.tolist() == [FRAMES]


async def test_it_opens_though_it_is_stopped_only_to_open_something_else(
    tmp_path: Path, vehicle: can.BusABC, closing: Closing
) -> None:
    path = tmp_path / "drive.duckdb"
    app = BusprobeApp(scene_of(tmp_path), opener=open_opened, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await record(app, pilot, path, vehicle)
        await pilot.press("o")
        await until(pilot, lambda: isinstance(app.screen, AskYes))
        await pilot.press("y")
        await until(pilot, lambda: isinstance(app.screen, StartPage))
        await pilot.press("home", "enter")
        await until(pilot, closing.begun.is_set)
        closing.may_go_on.set()
        await until(pilot, lambda: isinstance(app.scene, ReplayScene) and isinstance(app.screen, StateBoard))


async def test_one_that_goes_on_is_not_opened(tmp_path: Path, vehicle: can.BusABC, closing: Closing) -> None:
    """Its name was typed; so much as looking into it would end the lock that keeps other programs off."""
    closing.may_go_on.set()
    path = tmp_path / "drive.duckdb"
    app = BusprobeApp(scene_of(tmp_path), opener=open_opened, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await record(app, pilot, path, vehicle)
        app.switch_mode("start")
        await until(pilot, lambda: isinstance(app.screen, StartPage) and bool(app.screen.query("#said")))
        assert isinstance(app.screen, StartPage)
        app.screen._typed(str(path))
        await until(pilot, lambda: "✗" in said(app))
        assert said(app) == f"✗ {path}: it is being recorded now.\nStop that first: r."
        assert isinstance(app.scene, LiveScene)
