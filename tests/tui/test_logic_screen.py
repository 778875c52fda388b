"""Logic: focus, jumps and files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from fake_scene import FakeScene
from textual.events import Key
from textual.pilot import Pilot
from textual.widgets import Input

from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.logic import Logic
from busprobe.tui.widgets.rows import Rows

Compare = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)
SIZES = pytest.mark.parametrize("size", [SMALL, LARGE], ids=["80x24", "120x40"])
TO_FAILED = ["4", "down", "down", "down", "enter", "down"]
"""To the failed occurrence of the beacons."""


async def press(pilot: Pilot[None], keys: list[str]) -> None:
    for key in keys:
        await pilot.press(key)
        await pilot.pause()


@SIZES
def test_a_failed_occurrence(snap_compare: Compare, replay: FakeScene, size: tuple[int, int]) -> None:
    """Verdicts as signs and words; what was expected; when it failed, why, and what the signals said."""
    assert snap_compare(BusprobeApp(replay), terminal_size=size, press=TO_FAILED)


def test_latencies_against_the_limit(snap_compare: Compare, live: FakeScene) -> None:
    """Each occurrence a mark on the line; one is tight."""
    assert snap_compare(BusprobeApp(live), terminal_size=SMALL, press=["4"])


def test_trigger_log_filtered_on_a_small_terminal(snap_compare: Compare, live: FakeScene) -> None:
    """The log takes the place of the occurrences; the filter narrows checks and log alike."""
    assert snap_compare(BusprobeApp(live), terminal_size=SMALL, press=["4", "f", *"rear", "enter", "l"])


async def test_enter_on_a_check_goes_to_its_occurrences_and_on_one_to_its_instant(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, TO_FAILED)
        assert app.screen.query_one("#occurrences", Rows).has_focus
        await press(pilot, ["enter"])
        assert replay.calls == ["seek 142.1"]


async def test_jump_to_a_trigger(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4", "l", "end", "j"])
        assert replay.calls == ["seek 199.1"]
        await press(pilot, ["l"])
        assert app.screen.query_one("#occurrences", Rows).has_focus


async def test_live_says_when_it_was_instead_of_jumping(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4", "enter", "j"])
        (told,) = [n.message for n in app._notifications]
        assert told == "It was at 00:41.000. A live vehicle cannot go back: open its recording."


async def test_whole_recording_or_up_to_now(replay: FakeScene, live: FakeScene) -> None:
    for scene, titles in ((replay, ("whole recording", "up to 03:20.0")), (live, ("up to 03:20.0",) * 2)):
        app = BusprobeApp(scene)
        async with app.run_test(size=SMALL) as pilot:
            await press(pilot, ["4"])
            for title in titles:
                assert title in str(app.screen.query_one("#checks", Rows).border_title)
                await press(pilot, ["w"])


async def test_panel_keys_reach_the_log_where_there_is_room_for_one(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4", "f4"])
        assert app.screen.query_one("#log", Rows).has_focus
        assert not app.screen.query_one("#occurrences").display
        await press(pilot, ["f3"])
        assert app.screen.query_one("#occurrences", Rows).has_focus


async def test_keys_that_come_in_one_burst_go_to_the_panel_asked_for(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4"])
        before = app.screen.query_one("#checks", Rows).cursor
        for key in ("f4", "down", "down"):
            app.post_message(Key(key, None))
        await pilot.pause()
        assert app.focused is app.screen.query_one("#log", Rows)
        assert (app.screen.query_one("#checks", Rows).cursor, app.focused.cursor) == (before, 2)


async def test_a_filter_gives_the_focus_back_to_its_panel(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4", "f4", "f", *"siren", "enter"])
        assert app.focused is app.screen.query_one("#log", Rows)
        await press(pilot, ["escape"])
        assert app.focused is app.screen.query_one("#log", Rows)


async def test_the_log_is_written_as_filtered(
    replay: FakeScene, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4", "f", *"siren", "enter", "s"])
        asked = app.screen.query_one(Input)
        assert asked.value == str(Path("drives") / "handover-triggers.csv")
        asked.value = "log.csv"
        await press(pilot, ["enter"])
        assert [n.message for n in app._notifications] == ["1 line of the trigger log written to log.csv."]
    assert (tmp_path / "log.csv").read_text().splitlines()[1].split(",")[2] == "Siren sounds"


async def test_a_file_that_cannot_be_written(replay: FakeScene, tmp_path: Path) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4", "s"])
        app.screen.query_one(Input).value = name = str(tmp_path / "gone" / "log.csv")
        await press(pilot, ["enter"])
        assert [n.message for n in app._notifications] == [f"{name}: No such file or directory. Choose another file."]


async def test_copy_of_a_check_and_of_an_occurrence(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["4", "y"])
        assert app.clipboard.startswith("Rear white lamp follows reverse\tpass\t3 passed\t")
        await press(pilot, ["enter", "y"])
        assert app.clipboard == "Rear white lamp follows reverse\t00:41.000: passed, after 112 ms ± 5.0 ms"
        assert isinstance(app.screen, Logic)


async def test_where_nothing_is_to_be_shown_it_says_why(live: FakeScene, replay: FakeScene) -> None:
    for scene, nothing in ((live, "Nothing was triggered yet."), (replay, "Nothing was triggered.")):
        scene.alter(checks=(), triggers=())
        app = BusprobeApp(scene)
        async with app.run_test(size=SMALL) as pilot:
            await press(pilot, ["4"])
            checks, log = (app.screen.query_one(f"#{name}", Rows) for name in ("checks", "log"))
            assert (checks.empty, log.empty) == ("The bench file has no checks.", nothing)
            await press(pilot, ["f", *"xyz"])
            assert (checks.empty, log.empty) == (
                "No check has these words.",
                "Nothing with these words was triggered.",
            )
