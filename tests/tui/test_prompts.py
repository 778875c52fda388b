"""What is asked and what is told in passing: both can be read in the smallest terminal, and neither hides the other."""

from __future__ import annotations

import asyncio

import pytest
from fake_scene import FakeScene
from textual.geometry import Region
from textual.pilot import Pilot
from textual.widget import Widget
from textual.widgets import Button, Input, Label

from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.ask import AskText, AskYes
from busprobe.tui.view.typed_time import HINT
from busprobe.tui.widgets.askline import KEYS, AskLine

TINY, SMALL, LARGE = (40, 10), (80, 24), (120, 40)
LONG = "recordings/five_faults.duckdb: The recording is in use by process 6357. It is open there too: close it there."


def toasts(app: BusprobeApp) -> list[Widget]:
    """Those that are shown."""
    return [toast for toast in app.screen.query("Toast") if toast.display and toast.parent and toast.parent.display]


async def told(pilot: Pilot[None], app: BusprobeApp, text: str, *, beside: tuple[str, ...] = ()) -> None:
    """Tell this, and wait until it is shown. beside: what is shown above it."""
    app.tell(text)
    for _ in range(1000):
        await pilot.pause()
        shown = [str(toast.render()) for toast in toasts(app)]
        if shown == [*beside, text] and all(toast.region for toast in toasts(app)):
            return
        await asyncio.sleep(0.01)
    raise AssertionError(shown)


def text_of(label: Widget) -> str:
    return str(label.render())


# --- messages in passing


async def test_in_a_low_terminal_one_message_lies_over_the_footer_as_high_as_its_text(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=TINY, notifications=True) as pilot:
        await told(pilot, app, "The first.")
        await told(pilot, app, "Instant A is 03:20.000.")
        (toast,) = toasts(app)
        assert toast.region == Region(0, 9, 40, 1)
        await told(pilot, app, LONG)
        (toast,) = toasts(app)
        assert toast.region == Region(0, 7, 40, 3), "the whole of it, and nothing beside"


async def test_what_is_told_again_is_shown_once(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL, notifications=True) as pilot:
        await told(pilot, app, "No edge after this instant.")
        await told(pilot, app, "Another.", beside=("No edge after this instant.",))
        await told(pilot, app, "No edge after this instant.", beside=("Another.",))


@pytest.mark.parametrize("size", [TINY, SMALL, LARGE], ids=str)
@pytest.mark.parametrize("key", ["g", "m", "f", "e", "i"])
async def test_no_message_hides_what_is_typed(key: str, size: tuple[int, int], replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=size, notifications=True) as pilot:
        for number in range(5):
            app.tell(f"Something else was told before, number {number}.")
        await pilot.press(key, "a", "b")
        await told(pilot, app, "Marker at 03:20.000 is kept in the recording.")
        line = app.screen.focused
        assert isinstance(line, Input)
        assert line.value.endswith("ab")
        assert line.region.height == 1
        assert not any(toast.region.overlaps(line.region) for toast in toasts(app))
        if key in "gm":
            question = app.screen.query_one("#ask-question")
            assert not any(toast.region.overlaps(question.region) for toast in toasts(app))


# --- questions


@pytest.mark.parametrize(
    ("key", "size", "lines", "has_keys"),
    [("g", TINY, 2, False), ("m", TINY, 2, False), ("m", SMALL, 2, True), ("g", SMALL, 1, True), ("m", LARGE, 1, True)],
)
async def test_a_question_and_its_answer_are_seen_whole(
    key: str, size: tuple[int, int], lines: int, has_keys: bool, replay: FakeScene
) -> None:
    """A question that leaves too little room beside it gets a line of its own."""
    app = BusprobeApp(replay)
    async with app.run_test(size=size) as pilot:
        await pilot.press(key)
        await pilot.pause()
        ask, line = app.screen.query_one(AskLine), app.screen.query_one("#ask", Input)
        question, keys = app.screen.query_one("#ask-question", Label), app.screen.query_one("#ask-keys", Label)
        assert (ask.region.height, ask.region.bottom) == (lines, size[1])
        assert question.region.width >= len(text_of(question))
        assert line.content_size.width > max(len(HINT), 35)
        assert (KEYS in text_of(question) or keys.region.width >= len(KEYS)) == has_keys


async def test_a_question_that_is_open_follows_the_size_of_the_terminal(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=LARGE) as pilot:
        await pilot.press("m", *"note")
        for size, lines in ((TINY, 2), (LARGE, 1)):
            await pilot.resize_terminal(*size)
            await pilot.pause()
            assert app.screen.query_one(AskLine).region.height == lines
            assert app.screen.query_one("#ask", Input).value == "note"


@pytest.mark.parametrize("words", ["Stop it and leave", "Stop it, open another"])
async def test_both_answers_can_be_read_in_40_cells(words: str, live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=TINY) as pilot:
        await app.push_screen(AskYes("A recording goes on.", words, "Stay"))
        await pilot.pause()
        for button in app.screen.query(Button):
            assert app.screen.region.contains_region(button.region)
            assert button.content_size.width >= len(str(button.label))


async def test_a_file_is_asked_for_with_the_question_above_it_in_40_by_10(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=TINY) as pilot:
        question = "Record to this file:\nA new run begins: the 18 results and 9 lines of the trigger log are given up."
        await app.push_screen(AskText(question, "busprobe-20261129-171858.duckdb"))
        await pilot.pause()
        line = app.screen.query_one(Input)
        assert line.content_size.width > len(line.value)
        for widget in (line, *app.screen.query("Static")):
            assert app.screen.region.contains_region(widget.region)


async def test_the_filter_says_what_it_is(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=TINY) as pilot:
        await pilot.press("f")
        await pilot.pause()
        line = app.screen.query_one("#filter", Input)
        assert line.content_size.width >= len(line.placeholder)
        assert text_of(app.screen.query_one("#filter-line Label")) == "Filter"
