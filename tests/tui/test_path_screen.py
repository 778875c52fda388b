"""The Signal path screen: choosing a signal, large letters, copying, and its pictures."""

from __future__ import annotations

from collections.abc import Callable

import fake_van
import pytest
from fake_scene import FakeScene
from textual.pilot import Pilot

from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.path import PathScreen
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet

Compare = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)
SIZES = pytest.mark.parametrize("size", [SMALL, LARGE], ids=["80x24", "120x40"])


async def press(pilot: Pilot[None], *keys: str) -> None:
    await pilot.press(*keys)
    await pilot.pause()


def drawing(app: BusprobeApp) -> str:
    return app.screen.query_one("#path", Sheet).as_text()


async def test_up_and_down_go_from_signal_to_signal(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "3")
        assert app.chosen == "gear"
        await press(pilot, "down")
        assert app.chosen == "speed"
        await press(pilot, "up", "up")
        assert app.chosen == "secured"
        assert "secured" in str(app.screen.query_one("#path", Sheet).border_title)


async def test_the_list_shows_each_signal_it_comes_to_and_escape_closes_it(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "3", "p", "down", "down", "down")
        assert app.chosen == "module_volts"
        assert "01 42" in drawing(app)
        await press(pilot, "escape")
        assert not app.screen.query_one("#picker", Rows).display
        assert app.focused is app.screen.query_one("#path", Sheet)


async def test_the_filter_narrows_the_list(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "3", "f", *"rear_d", "enter", "enter")
        assert app.chosen == "rear_door"
        assert not app.screen.query_one("#picker", Rows).display
        assert "Polarity" in drawing(app)


async def test_large_letters_and_back(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=LARGE) as pilot:
        await press(pilot, "3")
        before = drawing(app)
        await press(pilot, "l")
        assert drawing(app).count("█") > 200
        await press(pilot, "l")
        assert drawing(app) == before


async def test_copy_takes_the_whole_drawing(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=LARGE) as pilot:
        await press(pilot, "3", "y")
        assert "controller: Rear white lamp follows reverse" in app.clipboard


async def test_a_signal_without_a_path_says_what_to_do(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "3", "down")
        assert "Nothing is known of its way yet." in drawing(app)


@pytest.mark.parametrize("picture", [fake_van.EMPTY, fake_van.LIVE], ids=["no signals", "signals"])
async def test_a_small_terminal_and_back(picture: object) -> None:
    app = BusprobeApp(FakeScene.live(picture))  # type: ignore[arg-type]
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "3", "l")
        await pilot.resize_terminal(40, 10)
        await pilot.pause()
        await pilot.resize_terminal(120, 40)
        await pilot.pause()
        assert isinstance(app.screen, PathScreen)


async def test_a_drawing_longer_than_the_screen_scrolls_by_page(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=(60, 10)) as pilot:
        await press(pilot, "3", "pagedown")
        sheet = app.screen.query_one("#path", Sheet)
        assert sheet.scroll_offset.y > 0
        await press(pilot, "pageup")
        assert sheet.scroll_offset.y == 0


# --- pictures


@SIZES
def test_path_of_a_bus_signal(snap_compare: Compare, live: FakeScene, size: tuple[int, int]) -> None:
    """Frame, bits, raw, value, freshness, signal; who uses it; the controller with 296 ms of 300 ms, tight."""
    assert snap_compare(BusprobeApp(live), terminal_size=size, press=["3"])


def test_path_in_large_letters(snap_compare: Compare, live: FakeScene) -> None:
    """0001, R and 296 ms in block letters."""
    assert snap_compare(BusprobeApp(live), terminal_size=LARGE, press=["3", "l"])


def test_path_of_an_input_line_beside_the_list(snap_compare: Compare, live: FakeScene) -> None:
    """Level, polarity, debounce of the rear door; the list of signals on the right."""
    app = BusprobeApp(live, theme="busprobe-contrast")
    assert snap_compare(app, terminal_size=LARGE, press=["3", "f", *"rear", "enter"])
