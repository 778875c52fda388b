"""A signal whose first source is too old shows at once what a later one gives, as logic will say once it can tell."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import pytest
from drive import HEAD, ns, on_channels, plan, polls, sent

from busprobe.analysis.frame_tally import FrameTally
from busprobe.engine.engine import Engine
from busprobe.frames import FrameBatch, InputBatch
from busprobe.session.board import Board
from busprobe.session.snapshot import SignalNow
from busprobe.timeline import TRUE, UNKNOWN

BENCH = (
    HEAD.replace(
        "[[inputs]]",
        """[[bus]]
name = "chassis"
[[inputs]]""",
        1,
    )
    + """
[signals]
speed = { from = ["body.Wheels.Speed", "chassis.Wheels.Speed"], max_age = "300 ms" }
brake = { from = ["body.Brake.PedalSwitch", "box.switch_wire"], max_age = "300 ms" }
park_brake = { from = "body.Brake.ParkBrake", max_age = "300 ms" }
moving = { when = "speed", above = "8 km/h", below_again = "5 km/h" }
quick = { when = "speed", above = "15 km/h", below_again = "11 km/h" }
fast = { when = "speed > '15 km/h'" }
rolling = { when = "moving and not quick" }
told = { when = "known(speed)" }
either = { when = "park_brake or moving" }
both = { when = "park_brake and quick" }
parked = { when = "known(park_brake)" }
lasting = { when = "held(moving, '1 s')" }

[[trigger]]
name = "condition"
on = "quick and speed > '11 km/h'"

[[trigger]]
name = "edge"
on = "rises(fast)"
"""
)
Rows = TypeVar("Rows", FrameBatch, InputBatch)
WHEELS, BRAKE = 288, 272
LAST, END = 1050, 4000
"""The body bus is silent after the one; both in ms."""


def both() -> tuple[FrameBatch, InputBatch]:
    """The chassis bus goes on, slower from 1.5 s on; the switch is let go at 2 s."""
    body = [*sent(WHEELS, f"0 E803, {LAST} -", END, {}), *sent(BRAKE, f"0 01, {LAST} -", END, {})]
    rows = [(t, "body", i, p) for t, i, p in body]
    rows += [(t, "chassis", i, p) for t, i, p in sent(WHEELS, "0 D007, 1500 B004", END, {})]
    return on_channels(sorted(rows)), polls("0 0, 2000 2", END)


def board_at(batch: FrameBatch, lines: InputBatch, upto_ms: float) -> tuple[Board, FrameTally]:
    """What is known once all is complete up to a time."""
    given = plan("", BENCH)
    board, tally = Board(given, {"body": [], "chassis": []}), FrameTally()
    engine = Engine(given, ["frames", "box"], histories=board.histories)
    come, polled = batch.t_ns < ns(upto_ms), lines.t_ns < ns(upto_ms)
    seen, heard = batch.take(come), lines.take(polled)
    engine.push("frames", _complete(seen, upto_ms))
    engine.push("box", _complete(heard, upto_ms))
    board.polls.add(heard)
    tally.add(seen)
    engine.advance()
    return board, tally


def _complete(batch: Rows, upto_ms: float) -> Rows:
    return replace(batch, complete_to_ns=ns(upto_ms))


def now(board: Board, tally: FrameTally, name: str, ms: float) -> SignalNow:
    return next(s for s in board.signals(ns(ms), tally) if s.name == name)


@pytest.fixture(scope="module")
def whole() -> Board:
    """All is told: that the body bus fell asleep too."""
    return board_at(*both(), END)[0]


@pytest.mark.parametrize("name", ["speed", "brake"])
@pytest.mark.parametrize("ms", [1000, 1299, 1301, 1450, 1600, 2100, 2900])
def test_it_shows_what_logic_says_later(name: str, ms: float, whole: Board) -> None:
    board, tally = board_at(*both(), ms + 1)
    early, late = now(board, tally, name, ms), now(whole, tally, name, ms)
    assert early.code == TRUE
    for part in ("code", "value", "text", "source", "since_ns", "edges", "age_ns", "max_age_ns", "why"):
        assert getattr(early, part) == getattr(late, part), part
    assert early.instead.replace("too old", "asleep") == late.instead


def test_the_source_that_counts_is_named(whole: Board) -> None:
    board, tally = board_at(*both(), 1451)
    speed = now(board, tally, "speed", 1450)
    assert (speed.text, speed.source) == ("20.00 km/h", "chassis.Wheels.Speed")
    assert speed.instead == "body.Wheels.Speed (too old)"
    path = board.path("speed", ns(1450), tally, ())
    assert path is not None
    assert path.signal.source == "chassis.Wheels.Speed"


@pytest.mark.parametrize("name", ["moving", "quick", "fast", "rolling", "told", "either"])
@pytest.mark.parametrize("ms", [1000, 1299, 1301, 1450, 1600, 2100, 2900])
def test_what_is_made_from_it_says_so_too(name: str, ms: float, whole: Board) -> None:
    """By a limit, by limits with a band between (12 km/h lie in it), from another that is made; all in all."""
    board, tally = board_at(*both(), ms + 1)
    early, late = now(board, tally, name, ms), now(whole, tally, name, ms)
    assert early.code <= TRUE
    for part in ("code", "value", "text", "since_ns", "edges", "why", "strip"):
        assert getattr(early, part) == getattr(late, part), part


@pytest.mark.parametrize(("ms", "quick", "fast"), [(1299, "off", "off"), (1450, "on", "on"), (2900, "on", "off")])
def test_what_it_says(ms: float, quick: str, fast: str) -> None:
    """10 km/h on the body bus; on the chassis bus 20, from 1.5 s on 12: no more than 15, no less than 11."""
    board, tally = board_at(*both(), ms + 1)
    assert (now(board, tally, "quick", ms).text, now(board, tally, "fast", ms).text) == (quick, fast)


@pytest.mark.parametrize(
    ("name", "why"),
    [("both", "park_brake: too old"), ("parked", "park_brake: too old"), ("lasting", "speed: too old")],
    ids=["of one that is too old", "whether it is known", "what takes more than an instant"],
)
def test_what_cannot_be_told_yet(name: str, why: str) -> None:
    board, tally = board_at(*both(), 1451)
    assert now(board, tally, name, 1450).text == f"unknown ({why})"


@pytest.mark.parametrize("name", ["speed", "moving", "fast", "told"])
def test_one_that_says_the_same_has_said_it_since_the_first_did(name: str) -> None:
    frames = on_channels(
        [
            (t, bus, WHEELS, "D007")
            for t in range(0, END, 100)
            for bus in ("body", "chassis")
            if bus != "body" or t < LAST
        ]
    )
    (board, tally), (whole, _) = (board_at(frames, both()[1], ms) for ms in (1451, END))
    early, late = now(board, tally, name, 1450), now(whole, tally, name, 1450)
    assert early.since_ns is not None
    assert early.since_ns < ns(LAST)
    for part in ("code", "text", "since_ns", "edges"):
        assert getattr(early, part) == getattr(late, part), part


def test_what_was_not_known_in_between_and_is_known_again_was_two_edges() -> None:
    """Of `known`: the chassis bus is lost for a moment when the body bus falls silent."""
    rows = [(t, "body", WHEELS, "D007") for t in range(0, LAST, 100)]
    rows += [(t, "chassis", WHEELS, "D007") for t in (*range(0, 901, 100), *range(1700, END, 100))]
    frames = on_channels(sorted(rows))
    (board, tally), (whole, _) = (board_at(frames, both()[1], ms) for ms in (1901, END))
    assert now(board, tally, "speed", 1900).source == "chassis.Wheels.Speed"
    assert now(board, tally, "told", 1900).edges == now(whole, tally, "told", 1900).edges == 2


@pytest.mark.parametrize(
    ("ms", "text", "source"),
    [
        (1250, "20.00 km/h", "body.Wheels.Speed"),
        (1550, "12.00 km/h", "body.Wheels.Speed"),
        (2150, "12.00 km/h", "body.Wheels.Speed"),
        (2250, "unknown (too old)", "body.Wheels.Speed"),
        (2450, "20.00 km/h", "body.Wheels.Speed"),
    ],
    ids=["both silent soon", "only the second is", "still known", "the first too", "the first is back"],
)
def test_a_second_source_that_falls_silent_holds_nothing_back(ms: float, text: str, source: str) -> None:
    """Logic waits until it knows whether the chassis bus is lost or asleep; the body bus goes on."""
    rows = [(t, "chassis", WHEELS, "E803") for t in range(0, 901, 100)]
    rows += [(t, "body", WHEELS, "D007" if t < 1500 or t > 2000 else "B004") for t in range(0, END, 100)]
    frames = on_channels(sorted(row for row in rows if not 1900 < row[0] < 2300))
    (board, tally), (later, _) = (board_at(frames, both()[1], upto) for upto in (ms + 1, END))
    early, late = now(board, tally, "speed", ms), now(later, tally, "speed", ms)
    assert (early.text, early.source) == (text, source)
    if early.code == TRUE:
        for part in ("code", "value", "since_ns", "edges", "why"):
            assert getattr(early, part) == getattr(late, part), part


@pytest.mark.parametrize("name", ["moving", "quick", "fast", "rolling", "told"])
def test_nor_what_is_made_from_it(name: str) -> None:
    """The body bus says 20 km/h, from 1.5 s on 4; the chassis bus is silent from 0.9 s on."""
    rows = [(t, "chassis", WHEELS, "E803") for t in range(0, 901, 100)]
    rows += [(t, "body", WHEELS, "D007" if t < 1500 else "9001") for t in range(0, END, 100)]
    frames = on_channels(sorted(rows))
    (board, tally), (later, _) = (board_at(frames, both()[1], upto) for upto in (1951, END))
    early, late = now(board, tally, name, 1950), now(later, tally, name, 1950)
    for part in ("code", "text", "since_ns", "edges", "why"):
        assert getattr(early, part) == getattr(late, part), part
    path = board.path("speed", ns(1950), tally, ())
    assert path is not None
    assert [user.text for user in path.users if user.name == "condition"] == ["on quick and speed > '11 km/h': off"]


def test_the_path_says_of_its_users_what_the_picture_does() -> None:
    board, tally = board_at(*both(), 1451)
    path = board.path("speed", ns(1450), tally, ())
    assert path is not None
    assert [user.text for user in path.users] == [
        "speed, on above 8 km/h, off below 5 km/h: on",
        "speed, on above 15 km/h, off below 11 km/h: on",
        "speed > '15 km/h': on",
        "known(speed): on",
        "on quick and speed > '11 km/h': on",
        "on rises(fast): unknown",
    ]


def test_without_another_that_is_known_it_is_too_old() -> None:
    """The chassis bus is silent since the same instant."""
    frames, lines = both()
    board, tally = board_at(frames.take(frames.t_ns <= ns(LAST)), lines, 1500)
    speed = now(board, tally, "speed", 1499)
    assert (speed.code, speed.text) == (UNKNOWN, "unknown (too old)")


@pytest.mark.parametrize("name", ["speed", "park_brake"])
@pytest.mark.parametrize(("ms", "code"), [(1299, TRUE), (1300, TRUE), (1301, UNKNOWN), (1499, UNKNOWN)])
def test_a_frame_that_came_after_the_instant_makes_nothing_known_at_it(name: str, ms: float, code: int) -> None:
    """It is counted as soon as it is there, while logic still waits for another source."""
    frames, lines = both()
    board, tally = board_at(frames.take(frames.t_ns <= ns(LAST)), lines, ms + 1)
    before = now(board, tally, name, ms)
    tally.add(on_channels([(1600, "body", WHEELS, "E803"), (1600, "body", BRAKE, "01")]))
    after = now(board, tally, name, ms)
    assert before.code == after.code == code
    for part in ("value", "text", "source", "since_ns", "edges", "max_age_ns", "why"):
        assert getattr(after, part) == getattr(before, part), part
    if code == UNKNOWN:
        assert (after.why, after.age_ns) == ("too old", before.age_ns)
