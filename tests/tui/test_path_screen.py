"""The Signal path screen: choosing a signal, large letters, copying, and its pictures."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import fake_van
import pytest
from fake_scene import FakeScene
from textual.pilot import Pilot

from busprobe.results import Occurrence, Outcome, Verdict
from busprobe.session.snapshot import User
from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.path import PathScreen
from busprobe.tui.view.spans import plain
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


def two_checks(scene: FakeScene, monkeypatch: pytest.MonkeyPatch) -> None:
    """The gear in two checks with an edge: one that has failed, and the newer one that has passed."""
    gear = fake_van.PATHS["gear"]
    passed = gear.boxes[0]
    name, at = "Work lamp strip follows the side door", fake_van.at(142.1)
    failed = dataclasses.replace(passed, check=name, cause_ns=at, effect_ns=None)
    ended = (Occurrence(at, at + fake_van.S, Outcome.FAILED, never_came=True),)
    scene.alter(
        checks=tuple(
            dataclasses.replace(c, verdict=Verdict.FAIL, occurrences=ended) if c.name == name else c
            for c in scene.picture.checks
        )
    )
    monkeypatch.setitem(fake_van.PATHS, "gear", dataclasses.replace(gear, boxes=(passed, failed)))


@SIZES
async def test_the_failed_check_is_drawn_and_n_goes_through_all(
    live: FakeScene, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    two_checks(live, monkeypatch)
    app = BusprobeApp(live)

    def shown() -> tuple[str, bool]:
        drawn = next(line for line in drawing(app).splitlines() if "controller:" in line)
        title = str(app.screen.query_one("#path", Sheet).border_title)
        return drawn.partition("controller: ")[2][:10], "n check 1 of 3" in title

    async with app.run_test(size=size) as pilot:
        await press(pilot, "3")
        assert shown() == ("Work lamp ", False)
        for expected in (("Siren sile", False), ("Rear white", True), ("Work lamp ", False)):
            await press(pilot, "n")
            assert shown() == expected


async def test_a_jump_to_an_occurrence_leads_to_its_check(replay: FakeScene, monkeypatch: pytest.MonkeyPatch) -> None:
    """`j` on Logic, then 3: a signal of the check, and the check drawn."""
    two_checks(replay, monkeypatch)
    app = BusprobeApp(replay)
    async with app.run_test(size=LARGE) as pilot:
        await press(pilot, "3", "down", "4", "f3", "j", "3")
        assert app.chosen == "gear"
        assert "controller: Rear white lamp follows" in drawing(app)
        await press(pilot, "n")
        assert "controller: Work lamp strip follows" in drawing(app)
        await press(pilot, "4", "3")
        assert "controller: Work lamp strip follows" in drawing(app)
        await press(pilot, "4", "j", "3")
        assert "controller: Rear white lamp follows" in drawing(app)


async def test_users_past_the_foot_of_the_screen_are_scrolled_to(
    live: FakeScene, monkeypatch: pytest.MonkeyPatch
) -> None:
    gear = fake_van.PATHS["gear"]
    users = tuple(User("check", f"Check {i}", "when gear == 'R': on", 1) for i in range(12))
    monkeypatch.setitem(fake_van.PATHS, "gear", dataclasses.replace(gear, users=users))
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "3")
        assert "more that use it: PgDn" in drawing(app)
        sheet = app.screen.query_one("#path", Sheet)
        assert sheet.max_scroll_y > 0
        await press(pilot, "pagedown", "pagedown")
        assert sheet.scroll_offset.y == sheet.max_scroll_y
        assert "Check 11" in plain(sheet.lines[sheet.scroll_offset.y + sheet.size.height - 2])


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
