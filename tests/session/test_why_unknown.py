"""Why a signal is unknown, at every time of a drive, however its data were cut: on the board and in reports."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

import pytest
from drive import DATABASE, HEAD, MS, SIGNALS, chunks, deal, frames, gear, in_order, ns, plan, polls, sent, states
from scripted import BENCH

from busprobe.analysis.frame_tally import FrameTally
from busprobe.bench.load import loads
from busprobe.decode.database import load
from busprobe.engine.engine import Engine
from busprobe.engine.plan import build
from busprobe.frames import Batch, FrameBatch, InputBatch
from busprobe.session.board import Board
from busprobe.session.snapshot import SignalNow

END = 3000
DERIVED = """
reverse = { when = "gear == 'R'" }
lit = { when = "reverse and lamp" }
either = { when = "gear == 'R' or brake" }
braked = { when = "held(brake, '200 ms')" }
moving = { when = "speed", above = "8 km/h", below_again = "5 km/h" }
working = { when = "lamp and switch" }
ratio = { when = "speed / speed > 2" }
pressed = { when = "brake or gear == 'P'" }
"""


def boards(*data: Batch, more: str = DERIVED) -> list[Board]:
    """The drive evaluated whole, and in pieces in other orders."""
    given = plan("", HEAD + SIGNALS + more)
    names = {FrameBatch: "frames", InputBatch: "box"}
    found = []
    for size in (0, 7, 23):
        pieces = {names.get(type(b), "states"): chunks(b, size or 10_000, ns(END)) for b in data}
        board = Board(given, {"body": [DATABASE]})
        engine = Engine(given, sorted(pieces), histories=board.histories)
        for name, batch in deal(pieces, Random(size)):
            engine.push(name, batch)
            if isinstance(batch, InputBatch):
                board.polls.add(batch)
            if size:
                engine.advance()
        engine.advance()
        said = {now.name: now.text for now in board.signals(ns(END) - 1, FrameTally())}
        assert said == {name: engine._run.text_at(name, ns(END) - 1) for name in said}, "as in reports"
        found.append(board)
    return found


def now(board: Board, name: str, ms: float) -> SignalNow:
    return next(s for s in board.signals(ns(ms), FrameTally()) if s.name == name)


def told(found: Sequence[Board], name: str, times: Sequence[float]) -> list[tuple[str, float | None]]:
    """Text, and since when in ms, at each time; of every board the same."""
    of_each = []
    for board in found:
        each = [now(board, name, ms) for ms in times]
        of_each.append([(s.text, None if s.since_ns is None else s.since_ns / MS) for s in each])
    assert all(one == of_each[0] for one in of_each)
    return of_each[0]


def test_an_adapter_that_is_gone_is_named_from_then_on() -> None:
    """gear comes again after the adapter is back, brake does not; speed was lost before the adapter went."""
    data = in_order(
        gear("0 R, 1050 -, 2100 R", END), sent(272, "0 01, 1050 -", END, {}), sent(288, "0 E803, 350 -", END, {})
    )
    found = boards(frames(data), polls("0 F", END), states((1060, "body", "down"), (2000, "body", "up")))
    assert told(found, "gear", [1059, 1060, 1999, 2050, 2100]) == [
        ("R", 0), ("unknown (adapter down)", 1060), ("unknown (adapter down)", 1060),
        ("unknown (not seen again)", 1060), ("R", 2100),
    ]  # fmt: skip
    assert told(found, "brake", [1060, 1999, 2999]) == [
        ("unknown (adapter down)", 1060), ("unknown (adapter down)", 1060), ("unknown (not seen again)", 1060),
    ]  # fmt: skip
    (before, _), (during, since) = told(found, "speed", [1059, 1060])
    assert (before, during, since) == ("unknown (lost)", "unknown (adapter down)", 1060)


def test_a_second_time_out_is_named_too() -> None:
    found = boards(
        frames(gear("0 R, 900 -", END)), polls("0 F", END),
        states((1000, "body", "down"), (1500, "body", "up"), (2000, "body", "down")),
    )  # fmt: skip
    words = [text for text, _ in told(found, "gear", [1200, 1700, 2500])]
    assert words == ["unknown (adapter down)", "unknown (not seen again)", "unknown (adapter down)"]


@pytest.mark.parametrize(
    ("name", "texts"),
    [
        ("reverse", ["on", "unknown (gear: lost)", "unknown (gear: adapter down)"]),
        ("lit", ["on", "unknown (gear: lost)", "unknown (gear: adapter down; lamp: box down)"]),
        ("either", ["on", "unknown (gear: lost)", "unknown (gear, brake: adapter down)"]),
        ("working", ["on", "on", "unknown (lamp, switch: box down)"]),
        ("moving", ["unknown (between its limits since it was first known)"] * 2 + ["unknown (speed: adapter down)"]),
    ],
)
def test_a_derived_signal_names_what_it_wants(name: str, texts: list[str]) -> None:
    """gear is lost at 1300 ms at the latest, adapter and box are down from 2000 ms on; speed is 6 km/h."""
    data = in_order(gear("0 R, 1050 -", END), sent(272, "0 00", 2000, {}), sent(288, "0 5802", 2000, {}))
    found = boards(
        frames(data), polls("0 T", 1990, switch="0 T"), states((2000, "body", "down"), (2000, "box", "down"))
    )
    assert [text for text, _ in told(found, name, [1000, 1900, 2500])] == texts


def test_what_looks_back_has_not_known_for_long_enough() -> None:
    found = boards(frames(sent(272, "0 -, 500 01", END, {})), polls("0 F", END))
    assert [text for text, _ in told(found, "braked", [400, 600, 750])] == [
        "unknown (brake: not seen yet)", "unknown (not known for long enough to tell)", "on",
    ]  # fmt: skip


def test_what_is_known_may_still_not_tell() -> None:
    """0 / 0, and a switch of 2 bits that says 10: error (as in SAE J1939-71, from memory)."""
    data = in_order(gear("0 R", END), sent(272, "0 02", END, {}), sent(288, "0 0000", END, {}))
    found = boards(frames(data), polls("0 F", END))
    assert told(found, "ratio", [1000])[0][0] == "unknown (division by zero)"
    assert told(found, "pressed", [1000])[0][0] == "unknown (brake: neither on nor off)"


TYRES = """
[vehicle]
name = "Engine test van"
[[bus]]
name = "body"
[signals]
left = { from = "body.TyrePressure.PressureFrontLeft", unit = "kPa" }
right = { from = "body.TyrePressure.PressureFrontRight", unit = "kPa" }
wheel = { from = "body.TyrePressure.Wheel" }
"""


def test_a_multiplexed_signal_is_as_old_as_the_newest_frame_that_has_it() -> None:
    """Wheel 0 is sent up to 900 ms, wheel 1 up to the end."""
    bench = loads(TYRES)
    databases = {"body": [load(BENCH.with_suffix(".dbc"))]}
    rows = [(t, 624, f"{t // 100 % 2:02X}90010000") for t in range(0, END, 100) if t % 200 == 100 or t < 1000]
    board, tally = Board(build(bench, databases), databases), FrameTally()
    engine = Engine(board.plan, ["frames"], histories=board.histories)
    tally.add(frames(rows))
    for batch in chunks(frames(rows), 3, ns(END)):
        engine.push("frames", batch)
        engine.advance()
    ages = {s.name: s.age_ns for s in board.signals(ns(END) - 1, tally)}
    assert ages == {"left": ns(END - 800) - 1, "right": ns(100) - 1, "wheel": ns(100) - 1}
    path = board.path("left", ns(END) - 1, tally, ())
    assert path is not None
    assert next(stage.text for stage in path.stages if stage.title == "Freshness") == "2.2 s old"
