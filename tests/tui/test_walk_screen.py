"""Guided walk and wiggle test: keys, bell, what is kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import fake_van
import pytest
from fake_scene import FakeScene
from fake_van import MS, NOW
from textual.pilot import Pilot

from busprobe.engine.history import Bounce
from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.ask import AskText
from busprobe.tui.screens.walk import WalkScreen
from busprobe.tui.view.blocks import large, small
from busprobe.tui.view.spans import plain
from busprobe.tui.view.tiles import tile_lines
from busprobe.tui.widgets.painted import Lines
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet

Compare = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)
_LABELS = {"gear": ("P", "R", "N", "D"), "turn": ("Off", "Left", "Right")}


@pytest.fixture
def van() -> FakeScene:
    """The van at rest, gear and turn signals with their labels."""
    rest = {"brake": 0, "rear_door": 0, "park_brake": 1}
    signals = tuple(
        dataclasses.replace(
            s, labels=_LABELS.get(s.name, ()),
            **({"code": rest[s.name], "text": ("off", "on")[rest[s.name]]} if s.name in rest else {}),
        )
        for s in fake_van.LIVE.signals
    )  # fmt: skip
    return FakeScene.live(dataclasses.replace(fake_van.LIVE, signals=signals))


async def press(pilot: Pilot[None], keys: list[str]) -> None:
    for key in keys:
        await pilot.press(key)
        await pilot.pause()


class Moves:
    """Changes a signal of the scene, one picture each, a tenth of a second apart."""

    def __init__(self, pilot: Pilot[Any], scene: FakeScene) -> None:
        self._pilot, self._scene, self._ms = pilot, scene, 0

    async def say(self, name: str, level: int, *, edges: int = 1, text: str = "") -> None:
        """A change, and a second picture in which it has settled."""
        for after in (0, 100):
            self._ms += 100
            now = NOW + self._ms * MS
            signal = self._scene.picture.signal(name)
            assert signal is not None
            self._scene.alter(t_ns=now, end_ns=now)
            self._scene.alter_signal(
                name, code=level, text=text or ("off", "on", "unknown")[level],
                edges=signal.edges + (edges if after == 0 else 0), since_ns=now - after * MS,
            )  # fmt: skip
            self._pilot.app.pull_now()  # type: ignore[attr-defined]
            await self._pilot.pause()

    async def press_three_times(self, name: str) -> None:
        for _ in range(3):
            await self.say(name, 1)
            await self.say(name, 0)


def prompt_of(app: BusprobeApp) -> str:
    return "\n".join(plain(line).rstrip() for line in app.screen.query_one("#prompt", Sheet).lines)


def is_drawn(word: str, text: str) -> bool:
    """Whether a text has a word in block letters of some size."""
    return any(lines[1].rstrip() in text for lines in (small(word), large(word), large(word, 2)))


async def test_brake_is_confirmed_kept_and_printed(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "down", "enter"])
        assert "▶ Press and release the brake pedal, three times." in prompt_of(app)
        await Moves(pilot, van).press_three_times("brake")
        row = app.screen.query_one("#roles", Rows).rows[1]
        assert plain(row.cells[0]) == "✓ confirmed"
        assert "3 of 10" in prompt_of(app)
    note = "brake: confirmed; 6 edges, bounce 0, lost 0; ON while the pedal is pressed; took 1.20 s"
    assert van.calls == [f"keep {note}"]
    assert len(app.saved) == 1
    assert app.saved[0].splitlines()[0] == f"Guided walk, {fake_van.VEHICLE}: 1 of 10 confirmed."
    assert f"  ✓ {note}" in app.saved[0].splitlines()


async def test_two_results_are_printed_as_one_list(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "s", "n", "n"])
    assert len(app.saved) == 1
    assert "0 of 10 confirmed, 2 not seen." in app.saved[0]
    assert [call[:30] for call in van.calls] == ["keep ignition: not seen; 0 edg", "keep brake: not seen; 0 edges,"]


async def test_begin_next_again_and_a_row_of_the_list(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6"])
        assert prompt_of(app).startswith(" 10 roles to confirm.")
        await press(pilot, ["s"])
        assert "1 of 10  ignition" in prompt_of(app)
        await press(pilot, ["n", "a"])
        assert "2 of 10  brake" in prompt_of(app)
        await press(pilot, ["home", "down", "down", "down", "enter"])
        assert "select P and stay there" in prompt_of(app)
        assert "Wheels chocked" not in prompt_of(app)
        assert "wheels chocked" in prompt_of(app)


async def test_the_bell_is_silent_until_asked_for(van: FakeScene, monkeypatch: pytest.MonkeyPatch) -> None:
    rung: list[str] = []
    monkeypatch.setattr(BusprobeApp, "bell", lambda self: rung.append("bell"))
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        moves = Moves(pilot, van)
        await press(pilot, ["6", "down", "enter"])
        await moves.say("brake", 1)
        assert rung == []
        await press(pilot, ["b"])
        assert rung == ["bell"]
        await moves.say("brake", 0)
        assert rung == ["bell"] * 2
        await moves.say("brake", 2, edges=0)
        assert len(rung) >= 3


async def test_wiggle_follows_the_role_selected_and_is_kept(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "down", "w"])
        assert "Wiggle test  brake" in prompt_of(app)
        moves = Moves(pilot, van)
        await moves.say("brake", 1)
        await moves.say("brake", 2, edges=0)
        assert " 1 edge, ! lost 1×" in prompt_of(app)
        await press(pilot, ["w"])
        assert "Wiggle test" not in prompt_of(app)
    text = "Wiggle test of brake: 1 edge, lost 1× in 400 ms"
    assert van.calls == [f"keep {text}"]
    assert app.saved == [text]


async def test_wiggle_of_any_signal(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "w", "i", *"siren_s", "enter"])
        assert "Wiggle test  siren_switch" in prompt_of(app)


async def test_leaving_in_mid_step_says_what_is_open(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "down", "enter"])
        await Moves(pilot, van).say("brake", 1)
        await press(pilot, ["q"])
    (text,) = app.saved
    head, *lines = text.splitlines()
    assert head == f"Guided walk, {fake_van.VEHICLE}: 0 of 10 confirmed."
    assert lines[:3] == [
        "  · ignition: not asked",
        "  · brake: left in the middle, 1 of 6 edges",
        "  · park_brake: not asked",
    ]
    assert lines[-1] == "The walk was left unfinished: 10 roles are open."


async def test_leaving_in_mid_wiggle_says_what_was_counted(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "down", "w"])
        await Moves(pilot, van).say("brake", 1)
        await press(pilot, ["q"])
    assert app.saved == ["Wiggle test of brake: 1 edge, lost 0× in 200 ms, not ended"]


async def test_what_happens_while_a_file_name_is_asked_for_counts_too(van: FakeScene) -> None:
    van.alter(recorder=None)
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        moves = Moves(pilot, van)
        await press(pilot, ["6", "down", "enter"])
        await moves.say("brake", 1)
        await press(pilot, ["r"])
        assert isinstance(app.screen, AskText)
        walk = app.screen_stack[-2]
        assert isinstance(walk, WalkScreen)
        for level in (0, 1, 0, 1, 0):
            await moves.say("brake", level)
            walk._hurry()
        assert [result.edges for result in van.guide.found] == [6]


async def test_one_word_is_asked_for_shown_and_on_the_state_board(van: FakeScene) -> None:
    """Whatever the labels of its database."""
    van.alter_signal("brake", code=1, text="Pressed", value=1.0, is_condition=False, labels=("Released", "Pressed"))
    van.alter_signal("rear_door", code=1, text="on", role="door")
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "down", "enter"])
        for name, word in (("brake", "ON"), ("rear_door", "OPEN")):
            van.guide.ask(name)
            for _ in range(2):
                van.alter(t_ns=van.picture.t_ns + MS)
                app.pull_now()
                await pilot.pause()
            text = prompt_of(app)
            assert f"It must say {word} while" in text
            assert f"It says {word}: bring it to rest first." in text
            assert is_drawn(word, text)
            assert is_drawn(word, "\n".join(plain(line) for line in tile_lines(van.picture, 120, 30)))


async def test_all_done_and_not_at_rest_it_asks_for_rest_before_it_says_the_wrong_way_round(van: FakeScene) -> None:
    van.alter_signal("brake", code=1, text="on")
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        moves = Moves(pilot, van)
        await press(pilot, ["6", "down", "enter"])
        assert "It says ON: bring it to rest first. If it rests already, go on:" in prompt_of(app)
        for level in (0, 1, 0, 1, 0, 1):
            await moves.say("brake", level)
        assert "5 of 6 edges" in prompt_of(app)
        assert "bring it to rest" not in prompt_of(app)
        for seconds, words in ((3, "If it rests already it is the wrong way round"), (5, "n, or wait")):
            van.alter(t_ns=van.picture.t_ns + 1900 * MS)
            app.pull_now()
            await pilot.pause()
            van.alter(t_ns=van.picture.t_ns + (seconds * 1000 - 1900) * MS // 2)
            app.pull_now()
            await pilot.pause()
            assert words in " ".join(prompt_of(app).split())
        assert van.guide.found == ()
        for _ in range(4):
            van.alter(t_ns=van.picture.t_ns + 1900 * MS)
            app.pull_now()
            await pilot.pause()
        assert [result.outcome.value for result in van.guide.found] == ["wrong way round"]


@pytest.mark.parametrize("zoom", [(), ("z",)], ids=["as it is", "zoomed"])
async def test_what_was_found_of_the_selected_row_is_there_in_full(van: FakeScene, zoom: tuple[str, ...]) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "s", "n", "home", *zoom])
        found = app.screen.query_one("#found", Lines)
        text = " ".join(plain(line).strip() for line in found.lines)
        assert text == "0 of 2 edges, says ON; bounce not measurable at this poll period"
        assert found.size.height == len(found.lines)
        rows = app.screen.query_one("#roles", Rows)
        assert rows.size.height >= 3
        await press(pilot, ["down"])
        assert plain(found.lines[0]).strip().startswith("Press and release the brake pedal")


async def test_skipped_positions_are_shown_as_such(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "down", "down", "down", "enter"])
        gear = van.picture.signal("gear")
        assert gear is not None
        await press(pilot, ["n", "n"])
        assert "–P –R ▶N ·D ·P  0 of 5 seen, 2 skipped" in prompt_of(app)
        await press(pilot, ["n", "n", "n"])
    assert f"skipped: P (said {gear.text}), R (said {gear.text})" in app.saved[0]


async def chatter(pilot: Pilot[None], van: FakeScene) -> None:
    """The wiggle test of the rear door, whose contact chatters."""
    await press(pilot, ["6", "end", "up", "up", "up", "w"])
    for raw in (0, 24, 61):
        signal = van.picture.signal("rear_door")
        assert signal is not None
        bounce = Bounce(transitions=raw, is_chattering=raw > 0)
        code, text = (2, "unknown (chattering)") if raw else (0, "off")
        van.alter(t_ns=van.picture.t_ns + 100 * MS, end_ns=van.picture.t_ns + 100 * MS)
        van.alter_signal("rear_door", code=code, text=text, bounce=bounce)
        pilot.app.pull_now()  # type: ignore[attr-defined]
        await pilot.pause()


async def test_a_chattering_contact_says_so_and_is_no_loss(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await chatter(pilot, van)
        assert " 0 edges, 61 raw edges, ! chattering, once so far, never lost" in prompt_of(app)
        assert is_drawn("chattering", prompt_of(app))
        await press(pilot, ["w"])
    assert app.saved == ["Wiggle test of rear_door: 0 edges, 61 raw edges, chattered once, lost 0× in 300 ms"]


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["80x24", "120x40"])
async def test_all_three_marks_of_unknown_fit(van: FakeScene, size: tuple[int, int]) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=size) as pilot:
        await press(pilot, ["6", "down", "w"])
        await Moves(pilot, van).say("brake", 2, edges=0)
        sheet = app.screen.query_one("#prompt", Sheet)
        blocks = [plain(line).rstrip() for line in sheet.lines if "█" in plain(line) or "▀" in plain(line)]
        marks = max(blocks[0].split("  "), key=len)
        assert blocks[0].count(marks) == 3
        assert max(map(len, blocks)) <= sheet.size.width


async def test_copy_takes_the_prompt_when_it_is_in_focus(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "s", "f2", "y"])
        assert "Switch the ignition off" in app.clipboard
        assert isinstance(app.screen, WalkScreen)


async def test_nothing_has_a_role() -> None:
    app = BusprobeApp(FakeScene.live(fake_van.EMPTY))
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "s", "n", "a"])
        assert "No signal of the bench file has a role" in prompt_of(app)


def walking(van: FakeScene, *, to: int) -> Callable[[Pilot[None]], Any]:
    """Ask for a role; before that the brake is confirmed, the ignition not seen."""

    async def run(pilot: Pilot[None]) -> None:
        await press(pilot, ["6", "s", "n"])
        await Moves(pilot, van).press_three_times("brake")
        await press(pilot, ["home", *["down"] * to, "enter"])
        pilot.app.clear_notifications()
        await pilot.pause()

    return run


@pytest.mark.parametrize("size", [SMALL, LARGE], ids=["80x24", "120x40"])
def test_walk_at_the_gear(snap_compare: Compare, van: FakeScene, size: tuple[int, int]) -> None:
    """One position asked for, the cautions, the gear in blocks, results so far."""
    assert snap_compare(BusprobeApp(van), terminal_size=size, run_before=walking(van, to=3))


def test_walk_before_it_begins(snap_compare: Compare, van: FakeScene) -> None:
    """How many roles, how to start, what to secure first."""
    assert snap_compare(BusprobeApp(van), terminal_size=SMALL, press=["6"])


def test_walk_where_it_does_not_rest(snap_compare: Compare, van: FakeScene) -> None:
    """The door says ON while it should be shut: a warning before anything is counted."""
    van.alter_signal("side_door", code=1, text="on")
    assert snap_compare(BusprobeApp(van, theme="busprobe-contrast"), terminal_size=SMALL, run_before=walking(van, to=7))


def test_wiggle_test(snap_compare: Compare, van: FakeScene) -> None:
    """The signal large, edges and losses counted."""

    async def run(pilot: Pilot[None]) -> None:
        await press(pilot, ["6", "end", "up", "up", "up", "w"])
        moves = Moves(pilot, van)
        await moves.say("rear_door", 1)
        await moves.say("rear_door", 2, edges=0)
        await moves.say("rear_door", 1, edges=0)

    assert snap_compare(BusprobeApp(van, theme="busprobe-light"), terminal_size=LARGE, run_before=run)


def test_wiggle_test_of_a_chattering_contact(snap_compare: Compare, van: FakeScene) -> None:
    """Chattering in large letters, its raw edges counted, no loss."""
    assert snap_compare(BusprobeApp(van), terminal_size=LARGE, run_before=lambda pilot: chatter(pilot, van))


async def test_a_very_small_terminal_keeps_the_prompt(van: FakeScene) -> None:
    app = BusprobeApp(van)
    async with app.run_test(size=(40, 10)) as pilot:
        await press(pilot, ["6", "s"])
        assert "▶ Switch the ignition off" in prompt_of(app)
        assert "0 of 2 edges" in prompt_of(app)
        assert app.screen.query_one("#prompt", Sheet).size.height >= 5


async def test_what_was_found_stays_with_the_vehicle_when_the_screen_is_made_anew(van: FakeScene) -> None:
    first = BusprobeApp(van)
    async with first.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "s", "n", "1", "6"])
        assert "2 of 10  brake" in prompt_of(first)
    again = BusprobeApp(van)
    async with again.run_test(size=SMALL) as pilot:
        await press(pilot, ["6"])
        assert "2 of 10  brake" in prompt_of(again)
        assert plain(again.screen.query_one("#roles", Rows).rows[0].cells[0]) == "? not seen"


async def test_that_nothing_is_recorded_is_told_once(van: FakeScene, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(WalkScreen, "notify", lambda self, text, **_: told.append(text))
    answers = ["Not recorded.", "Not recorded.", "", "Not recorded."]
    monkeypatch.setattr(van.guide, "_keep", lambda _: answers.pop(0))
    app = BusprobeApp(van)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["6", "s", *["n"] * 8])
    assert told == ["Not recorded.", "Not recorded."]
