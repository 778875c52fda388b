"""The walk screen of a recording: what was found when it was made."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from fake_scene import FakeScene
from fake_van import at

from busprobe.results import WalkOutcome, WalkResult
from busprobe.tui.app import BusprobeApp
from busprobe.tui.view.spans import plain
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet

Compare = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)
S = 1_000_000_000
RECORDED = (
    WalkResult("ignition", "ignition", WalkOutcome.CONFIRMED, 2, 0, 0, at(-61.4), 5 * S, "ON while the ignition is on"),
    WalkResult("brake", "brake", WalkOutcome.NOT_SEEN, 0, 0, 0, at(20.0), 90 * S, "0 of 6 edges, says off"),
    WalkResult("rear_door", "door", WalkOutcome.WRONG_WAY, 6, None, 1, at(150.5), 8 * S, "OFF while the door is open"),
    WalkResult("rear_door", "", WalkOutcome.WIGGLED, 3, None, 2, at(160.0), 30 * S, ""),
    WalkResult("brake", "brake", WalkOutcome.CONFIRMED, 6, 0, 0, at(180.0), 4 * S, "ON while the pedal is pressed"),
)  # fmt: skip


@pytest.fixture
def van() -> FakeScene:
    return FakeScene.replay(recorded=RECORDED)


def rows_of(app: BusprobeApp) -> Rows:
    return app.screen.query_one("#roles", Rows)


def prompt_of(app: BusprobeApp) -> str:
    return "\n".join(plain(line).rstrip() for line in app.screen.query_one("#prompt", Sheet).lines)


async def test_the_results_of_the_whole_recording_are_there_at_once(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=LARGE) as pilot:
        await pilot.press("6")
        said = {row.key: plain(row.cells[0]) for row in rows_of(app).rows}
        assert (said["ignition"], said["brake"], said["gear"]) == ("✓ confirmed", "✓ confirmed", "· no result")
        assert "Found while recording: 2 of 10 confirmed, 1 wrong way round." in prompt_of(app)
        assert "A time with a minus is before the recording began." in prompt_of(app)
    assert app.saved == []
    assert van.calls == []


async def test_j_goes_to_the_instant_of_a_result_but_not_before_the_start(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=LARGE) as pilot:
        await pilot.press("6", "j")
        assert van.calls == []
        assert [note.message for note in app._notifications] == ["It was at -01:01.400, before the recording began."]
        await pilot.press("down", "j")
        assert van.calls == ["seek 180"]
        await pilot.press("end", "j")
        assert van.calls == ["seek 180", "seek 160"]


async def test_a_walk_through_the_replay_is_not_kept_and_told_apart(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=LARGE) as pilot:
        await pilot.press("6", "s", "n")
        assert plain(rows_of(app).rows[0].cells[-1]).startswith("replayed: ")
        assert [note.message for note in app._notifications] == [
            "A recording that is replayed keeps no result of a walk."
        ]
    assert [call.split(":")[0] for call in van.calls] == ["keep ignition"]
    assert "replayed: 0 of 10 confirmed, 1 not seen." in app.saved[0]


async def test_of_a_wiggle_test_w_watches_its_signal(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=LARGE) as pilot:
        await pilot.press("6", "end", "w")
        assert "Wiggle test  rear_door" in prompt_of(app)


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["80x24", "120x40"])
def test_walk_of_a_recording(snap_compare: Compare, van: FakeScene, size: tuple[int, int]) -> None:
    """Results with their times, one before the start, a wiggle test last."""
    assert snap_compare(BusprobeApp(van), terminal_size=size, press=["6"])
