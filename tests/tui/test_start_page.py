"""The start page: what it opens, and what becomes of what was open."""

from __future__ import annotations

import asyncio
import gc
import threading
import weakref
from collections.abc import Callable
from pathlib import Path

import pytest
from fake_scene import FakeScene
from textual.pilot import Pilot
from textual.screen import Screen
from textual.widgets import Input

from busprobe.errors import OpenError
from busprobe.session.scene import Scene
from busprobe.tui.app import BusprobeApp
from busprobe.tui.recent import Opened, recent
from busprobe.tui.screens.ask import AskYes
from busprobe.tui.screens.start import StartPage
from busprobe.tui.screens.state import StateBoard
from busprobe.tui.view.start import Adapter
from busprobe.tui.widgets.rows import Rows

SIZE = (80, 24)


def said(app: BusprobeApp) -> str:
    """What stands above the footer."""
    return str(app.screen.query_one("#said").render())


def opener(opened: Opened) -> Scene:
    if opened.recording is not None and opened.recording.name == "damaged.duckdb":
        raise OpenError("this is no recording.", path=opened.recording, hint="Choose another file.")
    return FakeScene.live() if opened.recording is None and opened.bench is not None else FakeScene.replay()


async def test_the_demo_opens_and_is_not_remembered() -> None:
    app = BusprobeApp(None, opener=opener, find=list)
    async with app.run_test(size=SIZE) as pilot:
        assert isinstance(app.screen, StartPage)
        await pilot.press("enter")
        await app.workers.wait_for_complete()
        await pilot.pause()
        assert isinstance(app.screen, StateBoard)
        assert recent() == []


async def test_a_file_that_cannot_be_opened_says_so_and_another_can(tmp_path: Path) -> None:
    app = BusprobeApp(None, opener=opener, find=list)
    async with app.run_test(size=SIZE) as pilot:
        for name in ("damaged.duckdb", "van12.toml"):
            await pilot.press("home", "down", "enter")
            await pilot.pause()
            app.screen.query_one(Input).value = str(tmp_path / name)
            await pilot.press("enter")
            await app.workers.wait_for_complete()
            await pilot.pause()
            if name == "damaged.duckdb":
                assert said(app) == f"✗ {tmp_path / name}: this is no recording.\nChoose another file."
        assert isinstance(app.screen, StateBoard)
        assert recent() == [Opened(None, tmp_path / "van12.toml")]


async def test_opening_something_else_closes_what_was_open(replay: FakeScene) -> None:
    app = BusprobeApp(replay, opener=opener, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("o")
        await pilot.pause()
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, StateBoard)
        await pilot.press("o", "enter")
        await app.workers.wait_for_complete()
        await pilot.pause()
        assert replay.is_closed
        assert app.scene is not replay
        assert isinstance(app.screen, StateBoard)


@pytest.mark.parametrize("key", ["1", "5", "h", "r", "t", "z", "y", "f2"])
async def test_no_key_breaks_the_start_page(key: str) -> None:
    app = BusprobeApp(None, opener=opener, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press(key)
        await pilot.pause()
        assert isinstance(app.screen, StartPage)


# --- what nobody foresaw


async def test_an_error_nobody_foresaw_does_not_end_the_program() -> None:
    def broken(opened: Opened) -> Scene:
        raise ValueError("no such thing")

    app = BusprobeApp(None, opener=broken, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("enter")
        await until(pilot, lambda: "cannot" in said(app))
        assert said(app) == "✗ the demo cannot be opened: ValueError: no such thing."
        app.opener = opener
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, StateBoard))


async def test_adapters_that_cannot_be_listed_do_not_end_the_program() -> None:
    def broken() -> list[Adapter]:
        raise RuntimeError("the driver is not there")

    app = BusprobeApp(None, opener=opener, find=broken)
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: "cannot" in said(app))
        assert said(app) == "✗ Adapters cannot be listed: RuntimeError: the driver is not there."
        assert "Looking" not in str([row.as_text() for row in app.screen.query_one(Rows).rows])
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, StateBoard))


# --- what was open before


class Slow:
    """An opener that opens when it is told to."""

    def __init__(self) -> None:
        self.may_open = threading.Event()
        self.scene = FakeScene.replay()

    def __call__(self, opened: Opened) -> Scene:
        assert self.may_open.wait(60)
        return self.scene


async def until(pilot: Pilot[None], holds: Callable[[], bool]) -> None:
    async with asyncio.timeout(60):
        while not holds():
            await pilot.pause(0.01)


@pytest.mark.parametrize("key", ["1", "4"])
async def test_back_to_the_screens_while_something_is_being_opened(replay: FakeScene, key: str) -> None:
    slow = Slow()
    app = BusprobeApp(replay, opener=slow, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("o", "enter", key)
        assert not isinstance(app.screen, StartPage)
        slow.may_open.set()
        await until(pilot, lambda: app.scene is slow.scene and isinstance(app.screen, StateBoard))
        assert replay.is_closed
        await pilot.press("4", "1")
        assert isinstance(app.screen, StateBoard)


async def test_keys_find_the_new_screens_at_once(replay: FakeScene, monkeypatch: pytest.MonkeyPatch) -> None:
    """A key that is pressed while the screens of the scene before are being taken down."""
    app = BusprobeApp(replay, opener=opener, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("4", "5", "o")
        really_replace = app._replace_screen

        async def and_a_key(screen: Screen[object]) -> object:
            app.action_go("health")
            return await really_replace(screen)

        monkeypatch.setattr(app, "_replace_screen", and_a_key)
        await pilot.press("enter")
        await until(pilot, lambda: app.scene is not replay and isinstance(app.screen, StateBoard))


async def test_stop_it_and_open_something_else_stops_it(live: FakeScene) -> None:
    app = BusprobeApp(live, opener=opener, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("o")
        await pilot.pause()
        assert isinstance(app.screen, AskYes)
        await pilot.press("n")
        await pilot.pause()
        assert live.calls == []
        await pilot.press("o")
        await pilot.pause()
        await pilot.press("y")
        await pilot.pause()
        assert live.calls == ["stop_recording"]
        assert isinstance(app.screen, StartPage)


@pytest.mark.parametrize("answer", ["y", "n"])
async def test_a_recording_begun_meanwhile_is_not_ended_unasked(live: FakeScene, answer: str) -> None:
    live.alter(recorder=None)
    slow = Slow()
    app = BusprobeApp(live, opener=slow, find=list)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("o", "enter", "1", "r")
        await pilot.pause()
        await pilot.press("enter")
        app.pull_now()
        slow.may_open.set()
        await until(pilot, lambda: isinstance(app.screen, AskYes))
        await pilot.press(answer)
        if answer == "y":
            await until(pilot, lambda: app.scene is slow.scene and isinstance(app.screen, StateBoard))
            assert live.is_closed
        else:
            await until(pilot, lambda: slow.scene.is_closed)
            assert app.scene is live
            assert not live.is_closed
            await pilot.press("n")
            assert isinstance(app.screen, StateBoard)


async def test_a_scene_that_was_closed_does_not_stay_in_memory() -> None:
    opened: list[weakref.ref[FakeScene]] = []

    def remembered(_: Opened) -> Scene:
        scene = FakeScene.replay()
        opened.append(weakref.ref(scene))
        return scene

    app = BusprobeApp(None, opener=remembered, find=list)
    async with app.run_test(size=SIZE) as pilot:
        for number in range(1, 4):
            await pilot.press("o", "enter")
            await until(pilot, lambda n=number: len(opened) == n and isinstance(app.screen, StateBoard))
            await pilot.pause(0.2)
            app.keep_what_is_there()  # as when a recording is loaded

        def only_the_last() -> bool:
            gc.collect()
            return [scene() is not None for scene in opened] == [False, False, True]

        await until(pilot, only_the_last)
