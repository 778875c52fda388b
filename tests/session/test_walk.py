"""The guided walk: pictures in, what was found of a role out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from walked import MS, Points, at, picture, pictures, signal, walked

from busprobe.engine.history import Bounce
from busprobe.results import WalkOutcome
from busprobe.session.snapshot import Kind, SignalNow, Snapshot
from busprobe.session.walk import Walk, ask, ask_again, begin, give_up, new_walk, watch
from busprobe.session.walk_seen import Happening
from busprobe.session.walk_tasks import Goal, Task, tasks
from busprobe.session.wiggle import Wiggle, watch_wiggle

DOOR = Task("it", "door", "Open and shut it.", "the door is open")
PARK = Task("it", "park brake", "Release and apply.", "it is applied", times=2, rests_on=True)
GEAR = Task("it", "gear", "Select {position}.", goal=Goal.POSITIONS, positions=("P", "R", "N", "D", "P"))
SPEED = Task("it", "speed", "Roll forward.", goal=Goal.MOTION)
VOLTS = Task("it", "battery", "Measure.", goal=Goal.COMPARE)


def presses(first: int, count: int, start: int = 1000, length: int = 400) -> list[tuple[int, float | str | None]]:
    """A level, then `count` times the other one for `length` ms with as long between."""
    points: list[tuple[int, float | str | None]] = [(0, first)]
    for i in range(2 * count):
        points.append((start + i * length, (first + i + 1) % 2))
    return points


SWITCHES = [
    # id, task, points, until ms, outcome, edges, bounce, losses
    ("three clean", DOOR, presses(0, 3), 5000, WalkOutcome.CONFIRMED, 6, 0, 0),
    ("three quick", DOOR, presses(0, 3, length=150), 5000, WalkOutcome.CONFIRMED, 6, 0, 0),
    ("rests on", PARK, presses(1, 2), 5000, WalkOutcome.CONFIRMED, 4, 0, 0),
    ("wrong way round", DOOR, presses(1, 3), 14_000, WalkOutcome.WRONG_WAY, 6, 0, 0),
    ("park brake wrong way round", PARK, presses(0, 2), 14_000, WalkOutcome.WRONG_WAY, 4, 0, 0),
    ("wrong way round, not told while it moves", DOOR, presses(1, 3), 5000, None, 6, 0, 0),
    ("pressed at first, and held at last", DOOR, presses(1, 3), 12_500, None, 6, 0, 0),
    ("begun open", DOOR, [(0, 1), (500, 0), *presses(0, 3)[1:]], 9000, WalkOutcome.CONFIRMED, 6, 0, 0),
    ("begun open, not yet three", DOOR, [(0, 1), (500, 0), *presses(0, 3)[1:-1]], 5900, None, 6, 0, 0),
    ("two of three", DOOR, presses(0, 2), 9000, None, 4, 0, 0),
    ("never", DOOR, [(0, 0)], 91_000, WalkOutcome.NOT_SEEN, 0, 0, 0),
    ("never known", DOOR, [(0, None)], 91_000, WalkOutcome.NOT_SEEN, 0, 0, 0),
    ("patience after two of three", DOOR, presses(0, 2), 95_000, WalkOutcome.CONFIRMED, 4, 0, 0),
    (
        "bounce of 10 ms", DOOR,
        [(0, 0), (1000, 1), (1010, 0), (1020, 1), *presses(0, 3)[2:]], 5000, WalkOutcome.CONFIRMED, 6, 2, 0,
    ),
    ("lost once", DOOR, [(0, 0), (500, None), (700, 0), *presses(0, 3)[1:]], 5000, WalkOutcome.CONFIRMED, 6, 0, 1),
    ("known only later", DOOR, [(0, None), (300, 0), *presses(0, 3)[1:]], 5000, WalkOutcome.CONFIRMED, 6, 0, 0),
]  # fmt: skip


@pytest.mark.parametrize("every", [33, 50, 100], ids=["33 ms", "50 ms", "100 ms"])
@pytest.mark.parametrize(
    ("task", "points", "until", "outcome", "edges", "bounce", "losses"),
    [row[1:] for row in SWITCHES], ids=[row[0] for row in SWITCHES],
)  # fmt: skip
def test_switch(
    task: Task,
    points: Points,
    until: int,
    outcome: WalkOutcome | None,
    edges: int,
    bounce: int,
    losses: int,
    every: int,
) -> None:
    """The same is found at any rate of pictures."""
    walk, _ = walked(task, points, until, every)
    result = walk.results[0]
    if outcome is None:
        assert result is None
        assert walk.seen is not None
        assert walk.seen.edges == edges
        return
    assert result is not None
    assert (result.outcome, result.edges, result.bounce, result.losses) == (outcome, edges, bounce, losses)


def through(*labels: str | None) -> list[tuple[int, float | str | None]]:
    """One label a second."""
    return [(i * 1000, label) for i, label in enumerate(labels)]


OTHERS = [
    ("all positions", GEAR, through("P", "R", "N", "D", "P"), None, 6000, WalkOutcome.CONFIRMED,
     "each position: P R N D P"),
    ("passing through is no position", GEAR, [(0, "P"), (1000, "R"), (1100, "N"), (2000, "P")], None, 6000, None, ""),
    ("rolled and stopped", SPEED, [(0, 0.0), (900, 3.0), (2000, 6.5), (4000, 0.0)], "km/h", 5000, WalkOutcome.CONFIRMED,
     "from 0 to 6.5 km/h"),
    ("still rolling", SPEED, [(0, 0.0), (900, 3.0)], "km/h", 5000, None, ""),
    ("counts backwards", SPEED, [(0, 0.0), (900, -3.0), (2000, 0.0)], "km/h", 5000, WalkOutcome.WRONG_WAY,
     "from -3 to 0 km/h"),
    ("speed never seen", SPEED, [(0, 0.0)], "km/h", 91_000, WalkOutcome.NOT_SEEN, "from 0 to 0 km/h"),
    ("nobody compared", VOLTS, [(0, 12.6)], "V", 91_000, WalkOutcome.NOT_SEEN, "says 12.6 V, not compared"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("task", "points", "unit", "until", "outcome", "text"), [row[1:] for row in OTHERS], ids=[r[0] for r in OTHERS]
)
def test_positions_motion_and_values(
    task: Task, points: Points, unit: str | None, until: int, outcome: WalkOutcome | None, text: str
) -> None:
    walk, _ = walked(task, points, until, unit=unit)
    result = walk.results[0]
    assert (None if result is None else result.outcome) == outcome
    assert result is None or result.text == text


def given_up(walk: Walk, points: Points, ms: int, unit: str | None = None) -> Walk:
    """After the key that goes on with what was seen."""
    return give_up(walk, picture(points, ms, unit=unit))[0]


def test_a_person_agrees_with_a_value() -> None:
    walk, _ = walked(VOLTS, [(0, 12.6)], 2000, unit="V")
    result = given_up(walk, [(0, 12.6)], 2000, "V").results[0]
    assert result is not None
    assert (result.outcome, result.text) == (WalkOutcome.CONFIRMED, "12.6 V agrees")


def test_a_position_given_up_is_named_with_what_was_seen_instead() -> None:
    points = through("P", "R", "D", "D", "P")
    walk, _ = walked(GEAR, points, 3500)
    walk = given_up(walk, points, 3500)
    for one in (picture(points, ms) for ms in range(3550, 6000, 50)):
        walk, _ = watch(walk, one)
    result = walk.results[0]
    assert result is not None
    assert (result.outcome, result.text) == (WalkOutcome.OTHER, "4 of 5 seen; skipped: N (said D)")


def test_one_press_given_up_is_enough_to_tell_polarity() -> None:
    for first, outcome in ((0, WalkOutcome.CONFIRMED), (1, WalkOutcome.WRONG_WAY)):
        points = presses(first, 1)
        walk, _ = walked(DOOR, points, 2500)
        result = given_up(walk, points, 2500).results[0]
        assert result is not None
        assert result.outcome is outcome


def test_given_up_with_the_pedal_down_a_step_that_began_at_rest_is_not_the_wrong_way_round() -> None:
    points = presses(0, 2)[:-1]
    walk, _ = walked(DOOR, points, 2500)
    result = given_up(walk, points, 2500).results[0]
    assert result is not None
    assert (result.outcome, result.edges) == (WalkOutcome.CONFIRMED, 3)


def test_after_another_screen_a_step_that_has_counted_nothing_begins_with_what_it_finds() -> None:
    """Pressed when asked, released while nobody looked: it is at rest, and the first press counts."""
    walk, _ = walked(DOOR, [(0, 1)], 500)
    for one in pictures([(0, 1), (1000, 0), *presses(0, 3, start=9000)[1:]], 12_000, 50):
        if one.t_ns >= at(8000):
            walk, _ = watch(walk, one)
    result = walk.results[0]
    assert result is not None
    assert (result.outcome, result.edges) == (WalkOutcome.CONFIRMED, 6)


def test_every_prompt_edge_and_loss_is_heard_in_order() -> None:
    _, heard = walked(DOOR, [(0, 0), (500, None), (700, 0), *presses(0, 3)[1:]], 5000)
    edge = Happening.EDGE
    assert heard == [Happening.PROMPT, Happening.LOSS, edge, edge, edge, edge, edge, edge, Happening.RESULT]


def test_an_edge_is_heard_in_the_first_picture_that_has_it() -> None:
    """Settling and debounce of the count do not hold the bell back."""
    walk = ask(new_walk([DOOR]), 0)
    walk, _ = watch(walk, picture([(0, 0)], 0))
    walk, _ = watch(walk, picture([(0, 0)], 50))
    assert watch(walk, picture([(0, 0), (99, 1)], 100))[1] == (Happening.EDGE,)


NOISE: Points = [(ms, 12.0 + ms % 700 / 1000) for ms in range(0, 91_000, 50)]


def test_a_quantity_that_never_rests_is_not_heard_and_does_not_hold_the_walk() -> None:
    walk, heard = walked(VOLTS, NOISE, 91_000, every=100, unit="V")
    assert heard == [Happening.PROMPT, Happening.RESULT]
    assert walk.results[0] is not None
    wiggle = Wiggle("it")
    for one in pictures([*NOISE[:20], (1500, None)], 2000, 100, "V"):
        wiggle, happened = watch_wiggle(wiggle, one)
        assert happened in ((), (Happening.LOSS,))
    assert (wiggle.edges, wiggle.losses) == (19, 1)


def test_a_step_back_in_time_asks_again() -> None:
    walk, _ = walked(DOOR, presses(0, 2), 3000)
    walk, _ = watch(walk, picture(presses(0, 2), 500))
    assert walk.seen is None
    walk, happened = watch(walk, picture(presses(0, 2), 550))
    assert happened == (Happening.PROMPT,)
    assert walk.seen is not None
    assert walk.seen.edges == 0


def test_what_happened_while_another_screen_was_shown_is_not_counted() -> None:
    walk, _ = walked(DOOR, presses(0, 1), 500)
    walk, happened = watch(walk, picture(presses(0, 3), 9000))
    assert happened == ()
    assert walk.seen is not None
    assert (walk.seen.edges, walk.seen.raw_edges) == (0, 0)


@pytest.mark.parametrize("begins", [2540, 2420], ids=["after the last picture", "before it"])
def test_a_recording_switched_on_meanwhile_leaves_the_step_as_it_is(begins: int) -> None:
    """It begins a new run, in which all is unknown at first: no loss. Edges seen stay counted, asked stays asked."""
    walk, _ = walked(DOOR, presses(0, 1), 2500)
    heard: list[Happening] = []
    for ms, points in ((begins, [(begins, None)]), (2600, [(begins, None), (2590, 0)])):
        walk, happened = watch(walk, replace(picture(points, ms), start_ns=at(begins)))
        heard += happened
    for ms in range(2650, 5000, 50):
        points = [(begins, None), (2590, 0), *presses(0, 2, start=2700)[1:]]
        walk, happened = watch(walk, replace(picture(points, ms), start_ns=at(begins)))
        heard += happened
    result = walk.results[0]
    assert result is not None
    assert (result.outcome, result.edges, result.losses, result.bounce) == (WalkOutcome.CONFIRMED, 6, 0, 0)
    assert result.took_ns == 3950 * MS
    assert heard == [Happening.EDGE] * 4 + [Happening.RESULT]


def test_a_level_that_changed_while_a_recording_was_switched_on_is_an_edge() -> None:
    walk, _ = walked(DOOR, presses(0, 1), 1200)
    for ms in range(1250, 1501, 50):
        walk, _ = watch(walk, replace(picture([(1240, None), (1300, 0)], ms), start_ns=at(1240)))
    assert walk.seen is not None
    assert (walk.seen.edges, walk.seen.losses) == (2, 0)


def test_a_wiggle_test_goes_on_with_a_recording() -> None:
    wiggle = Wiggle("it")
    for one in pictures(presses(0, 1), 2000, 50):
        wiggle, _ = watch_wiggle(wiggle, one)
    wiggle, heard = watch_wiggle(wiggle, replace(picture([(0, None)], 2050), start_ns=at(2040)))
    assert (heard, wiggle.losses, wiggle.edges, wiggle.start_ns) == ((), 0, 2, at(0))


def test_the_same_picture_twice_adds_nothing() -> None:
    one = picture([(0, 0), (500, 1)], 600)
    walk, _ = watch(ask(new_walk([DOOR]), 0), picture([(0, 0)], 400))
    walk, _ = watch(walk, one)
    assert watch(walk, one) == (walk, ())


def test_pulses_that_the_debounce_took_out_are_told() -> None:
    walk = ask(new_walk([DOOR]), 0)
    for ms in range(0, 5001, 50):
        walk, _ = watch(walk, picture(presses(0, 3), ms, bounce=Bounce(5, 10) if ms > 1000 else Bounce(3, 8)))
    assert walk.results[0] is not None
    assert walk.results[0].text == "OPEN while the door is open; the debounce of its line took out 2 pulses"
    assert walk.results[0].bounce == 2


BOUNCY: Points = [(0, 0), (1000, 1), (1010, 0), (1020, 1), *presses(0, 3)[2:]]
POLLED = [
    # id, task, time between polls in ms by time in ms, bounce, words
    ("every ms", DOOR, lambda _: 1, 2, False),
    ("every 10 ms", DOOR, lambda _: 10, None, True),
    ("too slow for a while", DOOR, lambda ms: 10 if 500 <= ms < 700 else 1, None, True),
    ("of the bench file, before there are polls", DOOR, lambda ms: 10 if ms == 0 else None, None, True),
    ("no line", DOOR, lambda _: None, 2, False),
]


@pytest.mark.parametrize(
    ("task", "every", "bounce", "is_told"), [row[1:] for row in POLLED], ids=[row[0] for row in POLLED]
)
def test_bounce_of_a_line_that_is_polled_too_slowly_is_not_told(
    task: Task, every: Callable[[int], int | None], bounce: int | None, is_told: bool
) -> None:
    walk = ask(new_walk([task]), 0)
    for ms in range(0, 5001, 50):
        one, period = picture(BOUNCY, ms), every(ms)
        (now,) = one.signals
        now = replace(now, poll_ns=None if period is None else period * MS)
        walk, _ = watch(walk, replace(one, signals=(now,)))
    result = walk.results[0]
    assert result is not None
    assert (result.outcome, result.edges, result.bounce) == (WalkOutcome.CONFIRMED, 6, bounce)
    text = "OPEN while the door is open"
    assert result.text == (f"{text}; bounce not measurable at this poll period" if is_told else text)


def test_of_what_is_no_switch_no_bounce_is_told() -> None:
    walk, _ = walked(GEAR, through("P", "R", "N", "D", "P"), 6000)
    assert walk.results[0] is not None
    assert walk.results[0].bounce is None


def test_bounce_while_somebody_looked_elsewhere_does_not_count() -> None:
    walk, _ = watch(ask(new_walk([DOOR]), 0), picture([(0, 0)], 0, bounce=Bounce(1, 1)))
    walk, _ = watch(walk, picture([(0, 0)], 100, bounce=Bounce(2, 3)))
    walk, _ = watch(walk, picture([(0, 0)], 5000, bounce=Bounce(9, 9)))
    walk, _ = watch(walk, picture([(0, 0)], 5100, bounce=Bounce(10, 10)))
    assert walk.seen is not None
    assert (walk.seen.glitches, walk.seen.bounce) == (2, 3)


def test_the_walk_goes_through_all_tasks_and_comes_back_to_those_left_out() -> None:
    walk = begin(new_walk([DOOR, PARK, VOLTS]))
    walk = ask(walk, 1)
    walk, _ = watch(walk, picture([(0, 1)], 0))
    places = []
    while walk.place is not None and len(places) < 5:
        places.append(walk.place)
        walk, _ = watch(walk, picture([(0, 1)], 100))
        walk = given_up(walk, [(0, 1)], 150)
    assert places == [1, 2, 0]
    assert begin(walk).place == 0
    assert begin(walk).results == (None, None, None)


def test_asking_again_drops_what_was_seen() -> None:
    walk, _ = walked(DOOR, presses(0, 2), 3000)
    walk = ask_again(walk)
    assert (walk.place, walk.seen, walk.results) == (0, None, (None,))


def test_nothing_to_ask_for() -> None:
    walk = begin(new_walk([]))
    assert walk.task is None
    assert watch(walk, picture([(0, 0)], 0)) == (walk, ())


# --- which tasks


def named(name: str, role: str | None, labels: tuple[str, ...] = (), unit: str | None = None) -> SignalNow:
    is_condition = not labels and unit is None
    return SignalNow(
        name, role, Kind.BUS, "", 0, is_condition, None, "", unit, None, None, None, 0, labels=labels
    )  # fmt: skip


def test_tasks_come_from_the_roles_in_a_sensible_order() -> None:
    found = tasks(
        [
            named("speed", "speed", unit="km/h"), named("volts", "battery", unit="V"), named("rpm", None, unit="rpm"),
            named("rear_door", "rear door"), named("gear", "gear", ("D", "N", "R", "P", "M")),
            named("foot", "brake", ("Released", "Pressed")), named("hand", "park brake"),
            named("turn", "turn", ("Off", "Left", "Right")), named("key", "ignition"), named("pto", "power take-off"),
            named("mode", "mode", ("Eco", "Haul", "Plough")),
        ]
    )  # fmt: skip
    assert [(t.signal, t.goal, t.times, t.rests_on, t.positions) for t in found] == [
        ("key", Goal.SWITCH, 1, True, ()),
        ("foot", Goal.SWITCH, 3, False, ()),
        ("hand", Goal.SWITCH, 2, True, ()),
        ("gear", Goal.POSITIONS, 3, False, ("P", "R", "N", "D", "P")),
        ("turn", Goal.POSITIONS, 3, False, ("Left", "Right", "Off")),
        ("rear_door", Goal.SWITCH, 3, False, ()),
        ("speed", Goal.MOTION, 3, False, ()),
        ("volts", Goal.COMPARE, 3, False, ()),
        ("pto", Goal.SWITCH, 3, False, ()),
        ("mode", Goal.POSITIONS, 3, False, ("Eco", "Haul", "Plough")),
    ]


def test_a_chassis_without_park_is_not_asked_for_it() -> None:
    (task,) = tasks([named("gear", "gear", ("Neutral", "Drive", "Reverse"))])
    assert task.positions == ("Reverse", "Neutral", "Drive", "Reverse")


def test_moving_the_vehicle_carries_its_cautions() -> None:
    gear, speed = tasks([named("gear", "gear", ("P", "R")), named("speed", "speed", unit="km/h")])
    assert "Foot brake held, park brake on, wheels chocked" in gear.cautions[0]
    assert "nobody operates this tool while driving" in speed.cautions[0]
    assert "Driven wheels never in gear on the floor" in speed.cautions[1]


# --- wiggle test


def test_wiggle_counts_edges_and_losses() -> None:
    points: Points = [(0, 0), (300, 1), (320, 0), (500, None), (800, 0), (900, 1)]
    wiggle, heard = Wiggle("it"), []
    for one in pictures(points, 1000, 50):
        wiggle, happened = watch_wiggle(wiggle, one)
        heard += happened
    assert (wiggle.edges, wiggle.losses) == (3, 1)
    assert (wiggle.last_edge_ns, wiggle.last_loss_ns) == (at(900), at(500))
    # 300 and 320 ms: the first falls into a picture of its own, the second into the next.
    assert heard == [Happening.EDGE, Happening.EDGE, Happening.LOSS, Happening.EDGE]


def test_wiggle_begins_anew_after_a_step_back() -> None:
    wiggle, _ = watch_wiggle(Wiggle("it"), picture([(0, 0)], 0))
    wiggle, _ = watch_wiggle(wiggle, picture([(0, 0), (10, 1)], 500))
    assert wiggle.edges == 1
    wiggle, _ = watch_wiggle(wiggle, picture([(0, 0), (10, 1)], 100))
    assert (wiggle.edges, wiggle.start_ns) == (0, at(100))


def test_a_signal_that_is_not_there_leaves_things_as_they_are() -> None:
    empty = Snapshot(
        "live",
        "",
        "live",
        at(0),
        at(0),
        at(0),
    )
    assert watch_wiggle(Wiggle("it"), empty) == (Wiggle("it"), ())
    walk = ask(new_walk([DOOR]), 0)
    assert watch(walk, empty) == (walk, ())


def test_pictures_are_what_a_scene_gives() -> None:
    now = signal([(0, 0), (10, 1), (20, None), (30, 1)], 40)
    assert (now.edges, now.code, now.since_ns) == (1, 1, at(0) + 30 * MS)
