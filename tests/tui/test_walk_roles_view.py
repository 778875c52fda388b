"""The list of roles as values: what counts of a walk, live and replayed."""

from __future__ import annotations

import dataclasses

import pytest
from fake_van import LIVE, REPLAY, START, at

from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.walk import Walk, ask, new_walk
from busprobe.session.walk_tasks import Goal, Task
from busprobe.tui.view.spans import plain
from busprobe.tui.view.walk_roles import WalkFound, result_at, result_text, role_rows, roles_title, signal_at

DOOR = Task("rear_door", "rear door", "Open and shut it.", "the door is open")
BRAKE = Task("brake", "brake", "Press it.", "it is pressed")
GEAR = Task("gear", "gear", "Select {position}.", goal=Goal.POSITIONS, positions=("P", "R"))
WALK = new_walk([DOOR, BRAKE, GEAR])


def result(signal: str, at_s: float, outcome: WalkOutcome = WalkOutcome.CONFIRMED, **more: object) -> WalkResult:
    fields: dict[str, object] = {
        "role": signal, "edges": 6, "bounce": 0, "losses": 0, "took_ns": 1_200_000_000, "text": "ON while it is so",
    } | more  # fmt: skip
    return WalkResult(signal=signal, outcome=outcome, t_ns=at(at_s), **fields)  # type: ignore[arg-type]


DOOR_EARLY = result("rear_door", -94.2, WalkOutcome.NOT_SEEN, text="0 of 6 edges, says off")
DOOR_LATE = result("rear_door", 40.0, bounce=None)
SIREN = result("siren", 50.0, role="siren")
WIGGLE = result("rear_door", 60.0, WalkOutcome.WIGGLED, role="", bounce=None, text="")
NOTED = result("", 70.0, WalkOutcome.NOTED, text="horn: confirmed; took 9.0 s")
BRAKE_HERE = result("brake", 30.0, WalkOutcome.WRONG_WAY, text="OFF while it is so")


def live(walk: Walk = WALK, *here: WalkResult) -> WalkFound:
    return WalkFound(walk, (), here, START, is_replay=False)


def replay(*recorded: WalkResult, here: tuple[WalkResult, ...] = (), walk: Walk = WALK) -> WalkFound:
    return WalkFound(walk, recorded, here, START, is_replay=True)


def texts(found: WalkFound) -> list[str]:
    return ["|".join(plain(one) for one in row.cells) for row in role_rows(found)]


def test_live_the_newest_result_of_a_role_is_shown_and_wiggle_tests_below() -> None:
    assert texts(live(WALK, DOOR_EARLY, DOOR_LATE, WIGGLE)) == [
        "✓ confirmed|00:40.0|rear_door|rear_door|6|–|0|1.2 s|ON while it is so",
        "· to come|–|brake|brake|–|–|–|–|Press it.",
        "· to come|–|gear|gear|–|–|–|–|Select P/R.",
        "~ wiggle test|01:00.0|rear_door||6|–|0|1.2 s|",
    ]


def test_asked_again_a_role_says_so_and_keeps_its_result_for_when_it_is_given_up() -> None:
    asked = ask(WALK, 0)
    assert texts(live(asked, DOOR_LATE))[0].startswith("▶ asked for now|–|rear_door|rear door|–")
    assert texts(live(dataclasses.replace(asked, place=1), DOOR_LATE))[0].startswith("✓ confirmed")


def test_a_replay_shows_what_was_recorded_also_of_signals_without_a_task() -> None:
    assert texts(replay(DOOR_EARLY, SIREN, NOTED)) == [
        "? not seen|-01:34.2|rear_door|rear_door|6|0|0|1.2 s|0 of 6 edges, says off",
        "· no result|–|brake|brake|–|–|–|–|–",
        "· no result|–|gear|gear|–|–|–|–|–",
        "✓ confirmed|00:50.0|siren|siren|6|0|0|1.2 s|ON while it is so",
        "· noted|01:10.0|–|–|–|–|–|–|horn: confirmed; took 9.0 s",
    ]


def test_what_is_found_while_replaying_is_told_from_what_was_recorded() -> None:
    assert texts(replay(DOOR_LATE, here=(BRAKE_HERE,)))[:2] == [
        "✓ confirmed|00:40.0|rear_door|rear_door|6|–|0|1.2 s|ON while it is so",
        "✗ wrong way round|00:30.0|brake|brake|6|0|0|1.2 s|replayed: OFF while it is so",
    ]


def test_a_walk_through_a_replay_without_results_looks_like_a_live_one() -> None:
    assert texts(replay(walk=ask(WALK, 0)))[:2] == [
        "▶ asked for now|–|rear_door|rear door|–|–|–|–|Open and shut it.",
        "· to come|–|brake|brake|–|–|–|–|Press it.",
    ]


TITLES = [
    ("live, nothing yet", live(), "Roles, 0 of 3 confirmed"),
    ("live", live(WALK, DOOR_LATE, BRAKE_HERE), "Roles, 1 of 3 confirmed, 1 wrong way round"),
    ("superseded", live(WALK, DOOR_EARLY, DOOR_LATE), "Roles, 1 of 3 confirmed"),
    ("a replay without results", replay(), "Roles, no result in this recording"),
    ("replayed", replay(here=(BRAKE_HERE,)), "Roles, replayed: 0 of 3 confirmed, 1 wrong way round"),
    ("replay, asked", replay(walk=ask(WALK, 0)), "Roles, replayed: 0 of 3 confirmed"),
    ("recorded", replay(DOOR_LATE, SIREN), "Roles, whole recording: 1 of 3 confirmed"),
    ("recorded, and replayed", replay(DOOR_LATE, here=(BRAKE_HERE,)), "Roles, whole recording: 1 of 3 confirmed"),
]


@pytest.mark.parametrize(("found", "title"), [row[1:] for row in TITLES], ids=[row[0] for row in TITLES])
def test_title(found: WalkFound, title: str) -> None:
    assert roles_title(found) == title


def test_rows_and_the_results_and_signals_they_stand_for() -> None:
    found = replay(DOOR_LATE, SIREN, NOTED)
    assert [result_at(found, row) for row in range(6)] == [DOOR_LATE, None, None, SIREN, NOTED, None]
    assert [signal_at(found, row) for row in range(6)] == ["rear_door", "brake", "gear", "siren", None, None]


def test_printed_at_the_end_is_what_was_found_here() -> None:
    assert result_text(live(), LIVE) == ""
    assert result_text(replay(DOOR_LATE), REPLAY) == ""
    head, *lines = result_text(live(ask(WALK, 0), DOOR_EARLY, DOOR_LATE), LIVE).splitlines()
    assert head == f"Guided walk, {LIVE.vehicle}: 1 of 3 confirmed."
    assert lines == [
        "  ✓ rear_door: confirmed; 6 edges, lost 0; ON while it is so; took 1.20 s",
        "  · rear_door: left in the middle",
        "  · brake: not asked",
        "  · gear: not asked",
        "The walk was left unfinished: 3 roles are open.",
    ]
    head, *_ = result_text(replay(DOOR_LATE, here=(BRAKE_HERE,)), REPLAY).splitlines()
    assert head == f"Guided walk, {REPLAY.title}, replayed: 0 of 3 confirmed, 1 wrong way round."
