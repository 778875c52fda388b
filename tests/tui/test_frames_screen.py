"""The Frames screen: its keys, what stands still, and its pictures."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import fake_van
import numpy as np
import pytest
from fake_scene import FakeScene
from textual.pilot import Pilot

from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.frames import FramesScreen
from busprobe.tui.screens.path import PathScreen
from busprobe.tui.view.spans import plain
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet
from busprobe.tui.widgets.timebar import Timebar

Compare = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)
TO_GEAR = ["2", "down", "down"]
"""Frames, the row of TransmissionStatus."""


async def press(pilot: Pilot[None], *keys: str) -> None:
    await pilot.press(*keys)
    await pilot.pause()


def listed(app: BusprobeApp) -> Rows:
    return app.screen.query_one("#frames", Rows)


def first_column(app: BusprobeApp) -> list[str]:
    return [plain(row.cells[0]) for row in listed(app).rows]


async def test_sort_goes_round_and_the_cursor_stays_on_its_identifier(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, *TO_GEAR, "s", "s")
        assert first_column(app)[:2] == ["0D0", "0C2"]
        assert listed(app).selected is not None
        assert listed(app).selected.key == "body 0E4"
        assert "by count" in str(listed(app).border_title)


async def test_payloads_as_bits_and_back(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=LARGE) as pilot:
        await press(pilot, "2", "b")
        assert plain(listed(app).rows[0].cells[4]).startswith("▯▮▯▯▯▯▮▯ 00010001")
        await press(pilot, "b")
        assert plain(listed(app).rows[0].cells[4]).startswith("▸42 11")


async def test_typed_words_filter_and_escape_shows_all(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "2", "f", *"brake")
        assert first_column(app) == ["0F1", "1A0"]
        await press(pilot, "escape")
        assert len(first_column(app)) == 11


async def test_a_held_picture_stands_still_and_says_so(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "2", "h")
        table = live.picture.frames
        live.alter(frames=dataclasses.replace(table, count=table.count + 1))
        app.pull_now()
        await pilot.pause()
        assert plain(listed(app).rows[0].cells[1]) == "20,000"
        assert "HELD" in str(listed(app).border_title)
        await press(pilot, "h")
        assert plain(listed(app).rows[0].cells[1]) == "20,001"
        assert "HELD" not in str(listed(app).border_title)


async def test_details_follow_the_cursor(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "2")
        assert not app.screen.query_one("#values", Rows).rows
        await press(pilot, "down", "down")
        assert app.screen.query_one("#values", Rows).rows[0].key == "SelectedGear"
        assert "▐0a━━0a━━0a━━1a▌" in app.screen.query_one("#bits", Sheet).as_text()


async def test_enter_leads_to_the_values_and_on_to_the_path_of_the_signal(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, *TO_GEAR, "enter")
        assert app.focused is app.screen.query_one("#values", Rows)
        await press(pilot, "enter")
        assert isinstance(app.screen, PathScreen)
        assert app.chosen == "gear"


async def test_a_signal_that_the_bench_file_does_not_use_leads_nowhere(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, *TO_GEAR, "enter", "end", "enter")
        assert isinstance(app.screen, FramesScreen)


async def test_copy_takes_the_selected_row(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, *TO_GEAR, "y")
        assert app.clipboard == "body 0E4 TransmissionStatus 01 1F 5A 20 43 C1, count 10,000, period 20 ms ± 0.21 ms"


async def test_words_of_a_filter_are_never_taken_as_markup(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "2", "f", "left_square_bracket", "slash", "right_square_bracket")
        assert first_column(app) == []
        assert isinstance(app.screen, FramesScreen)


async def test_a_step_from_frame_to_frame_selects_the_frame_it_reached(replay: FakeScene) -> None:
    table = replay.picture.frames
    times = {0x0F1: fake_van.NOW + fake_van.MS, 0x2F0: fake_van.NOW + 2 * fake_van.MS}
    last_ns = [times.get(i, t) for i, t in zip(table.identifier.tolist(), table.last_ns.tolist(), strict=True)]
    replay.alter(frames=dataclasses.replace(table, last_ns=np.array(last_ns, np.int64)))
    app = BusprobeApp(replay)

    def here() -> tuple[str, bool]:
        selected = listed(app).selected
        assert selected is not None
        return selected.key, "frame 0F1 BrakeStatus" in plain(app.screen.query_one(Timebar).lines[0])

    async with app.run_test(size=LARGE) as pilot:
        await press(pilot, *TO_GEAR, *"k" * 7)
        assert here() == ("body 0E4", False)
        await press(pilot, "right")
        assert here() == ("body 0F1", True)
        await press(pilot, "up", "up", "f3")  # who looks elsewhere at this instant stays there
        assert here() == ("body 0D0", True)
        await press(pilot, "right")
        assert here() == ("body 2F0", False)


@pytest.mark.parametrize("picture", [fake_van.EMPTY, fake_van.LIVE], ids=["nothing heard", "frames"])
async def test_a_small_terminal_and_back(picture: object) -> None:
    app = BusprobeApp(FakeScene.live(picture))  # type: ignore[arg-type]
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, "2")
        await pilot.resize_terminal(40, 10)
        await pilot.pause()
        await pilot.resize_terminal(120, 40)
        await pilot.pause()
        assert isinstance(app.screen, FramesScreen)


# --- pictures


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["80x24", "120x40"])
def test_frames(snap_compare: Compare, live: FakeScene, size: tuple[int, int]) -> None:
    """Eleven identifiers with marks before bytes that changed; the bits and values of TransmissionStatus."""
    assert snap_compare(BusprobeApp(live), terminal_size=size, press=TO_GEAR)


def test_frames_held_filtered_in_bits(snap_compare: Compare, live: FakeScene) -> None:
    """HELD in the title, "status" as filter, payloads as bits with boxes for those that changed."""
    app = BusprobeApp(live, theme="busprobe-light")
    assert snap_compare(app, terminal_size=LARGE, press=["2", "b", "h", "f", *"status", "enter"])
