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

from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.walk import WalkScreen
from busprobe.tui.view.spans import plain
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
