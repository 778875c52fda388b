"""More literal cases of the semantics, in the manner of the table of `test_semantics`.

Most of them were found by the random trials of `test_any_cut`, or tell a wrong evaluator from the right one.
"""

# ruff: noqa: E501 - a case reads best in one line
from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import pytest
from stepped import MS, run, told

from busprobe.checks.watching import Watcher
from busprobe.results import Occurrence

WHEN = 'when = "w"\nexpect = "x"\nwithin = "300 ms"\n'
FOLLOWS = 'follows = "x"\nwhen = "w"\non_within = "200 ms"\noff_within = "200 ms"\n'
HOLD = WHEN + 'hold = "while when"\nsettle = "50 ms"\n'
NS = 0.000001


class Case(NamedTuple):
    id: str
    check: str
    signals: dict[str, str]
    end: float
    outcomes: list[str]
    sampling: float


def case(id_: str, check: str, end: float, outcomes: list[str], *, sampling: float = 0, **signals: str) -> Case:
    return Case(id_, check, signals, end, outcomes, sampling)


EARLIEST = WHEN + 'not_before = "100 ms"\n'
CASES = [
    # The window.
    case("unknown from not_before on was seen false there", EARLIEST, 3000, ["1000 passed +200 @1200"],
         w="0 F, 1000 T", x="0 F, 1100 ?, 1200 T"),
    case("unknown up to not_before is not in the window", EARLIEST, 3000, ["1000 failed @1300"],
         w="0 F, 1000 T", x="0 F, 1050 ?, 1100 F"),
    # A margin smaller than the uncertainty: here 10 ms. Each edge lies up to 10 ms before its time, so the time
    # between both is wrong by no more than that either way.
    case("no margin to the limit", WHEN, 3000, ["1000 passed +291 @1291 tight"], w="0 F, 1000 T", x="0 F, 1291 T", sampling=10),
    case("margin as large as the uncertainty", WHEN, 3000, ["1000 passed +290 @1290"],
         w="0 F, 1000 T", x="0 F, 1290 T", sampling=10),
    case("soon is not tight", WHEN, 3000, ["1000 passed +1 @1001"], w="0 F, 1000 T", x="0 F, 1001 T", sampling=10),
    case("no margin to not_before", EARLIEST, 3000, ["1000 passed +109 @1109 tight"],
         w="0 F, 1000 T", x="0 F, 1109 T", sampling=10),
    case("margin to not_before as large as the uncertainty", EARLIEST, 3000, ["1000 passed +110 @1110"],
         w="0 F, 1000 T", x="0 F, 1110 T", sampling=10),
    case("no margin to the limit, much to not_before", EARLIEST, 3000, ["1000 passed +291 @1291 tight"],
         w="0 F, 1000 T", x="0 F, 1291 T", sampling=10),
    case("no uncertainty, no margin", EARLIEST.replace("100 ms", "300 ms"), 3000, ["1000 passed +300 @1300"],
         w="0 F, 1000 T", x="0 F, 1300 T"),
    # The hold.
    case("falls as expect comes: held for nothing", HOLD, 4000, ["1000 passed +200 @1200"],
         w="0 F, 1000 T, 1200 F", x="0 F, 1200 T, 1500 F"),
    case("falls as expect comes: still held for its time", WHEN + 'hold = "1 s"\n', 4000, ["1000 failed +200 @2100"],
         w="0 F, 1000 T, 1200 F", x="0 F, 1200 T, 2100 F"),
    case("true after unknown, then held", HOLD, 4000, ["1000 passed +250 @2000 tight"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1050 ?, 1250 T"),
    case("unknown for less than settle as its time ends", WHEN + 'hold = "1 s"\nsettle = "50 ms"\n', 4000,
         ["1000 passed +200 @2200"], w="0 F, 1000 T", x="0 F, 1200 T, 2180 ?, 2300 T"),
    case("unknown for less than settle, long before its time ends", WHEN + 'hold = "1 s"\nsettle = "50 ms"\n', 4000,
         ["1000 passed +200 @2200"], w="0 F, 1000 T", x="0 F, 1200 T, 1500 ?, 1520 T"),
    case("when becomes unknown after a break began", HOLD, 4000, ["1000 failed +200 @1550"],
         w="0 F, 1000 T, 1520 ?, 1800 T, 2000 F", x="0 F, 1200 T, 1500 F"),
    # A break that starts within the combined uncertainty, here 60 ms, before the end of the hold.
    case("drops within the uncertainty of the end", HOLD, 4000, ["1000 passed +200 @2000 tight"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1945 F", sampling=60),
    case("drops before that", HOLD, 4000, ["1000 failed +200 @1999"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1939 F", sampling=60),
    case("drops for no longer than settle", HOLD, 4000, ["1000 passed +200 @2000"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1960 F", sampling=60),
    case("drops within the uncertainty and is back", HOLD, 4000, ["1000 passed +200 @2000 tight"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1942 F, 1995 T", sampling=60),
    case("drops within the uncertainty, is back, drops again", HOLD, 4000, ["1000 passed +200 @2000 tight"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1942 F, 1995 T, 1998 F", sampling=60),
    case("drops within the uncertainty, then when is unknown", HOLD, 4000, ["1000 passed +200 @2000 tight"],
         w="0 F, 1000 T, 1960 ?, 2000 F", x="0 F, 1200 T, 1945 F", sampling=60),
    case("unknown in the window says nothing of the hold", HOLD, 4000, ["1000 passed +200 @2000"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1050 ?, 1100 F, 1200 T"),
    case("false then unknown, within settle together", HOLD, 4000, ["1000 passed +200 @2000"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 F, 1520 ?, 1550 T"),
    case("false then unknown, longer than settle together", HOLD, 4000, ["1000 undecided +200 @2000"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 F, 1520 ?, 1550.000001 T"),
    case("unknown then false, within settle together", HOLD, 4000, ["1000 passed +200 @2000"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 ?, 1520 F, 1550 T"),
    case("unknown then false, longer than settle together", HOLD, 4000, ["1000 undecided +200 @2000"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 ?, 1520 F, 1550.000001 T"),
    case("a break begins while when is unknown", HOLD, 4000, ["1000 undecided +200 @3000"],
         w="0 F, 1000 T, 1400 ?, 2000 T, 3000 F", x="0 F, 1200 T, 1500 F, 2500 T"),
    case("a break within settle begins while when is unknown", HOLD, 4000, ["1000 passed +200 @3000"],
         w="0 F, 1000 T, 1400 ?, 2000 T, 3000 F", x="0 F, 1200 T, 1500 F, 1550 T"),
    case("unjudged, then breaks again", HOLD, 4000, ["1000 failed +200 @2550"],
         w="0 F, 1000 T, 1400 ?, 2000 T, 3000 F", x="0 F, 1200 T, 1500 F, 2100 T, 2500 F"),
    case("a duration runs on while when is unknown", WHEN + 'hold = "1 s"\n', 4000, ["1000 failed +200 @1500"],
         w="0 F, 1000 T, 1400 ?", x="0 F, 1200 T, 1500 F"),
    case("tight, then dropped", HOLD, 4000, ["1000 failed +290 @1550"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1290 T, 1500 F", sampling=10),
    case("data end before the hold", HOLD, 1200, ["1000 cut short @1200"], w="0 F, 1000 T", x="0 F"),
    # What does not depend on any signal.
    case("never false", 'never = "x and False"\n', 4000, ["0 passed for 4000 @4000"], x="1000 F"),
    case("always false", 'always = "x and False"\nsettle = "200 ms"\n', 4000, ["0 failed for 4000 @200"], x="1000 F"),
    case("given all along", 'never = "x"\ngiven = "x or True"\n', 4000, ["0 passed for 4000 @4000"], x="0 F"),
    case("true all along is not seen to begin", WHEN.replace('"w"', '"x or True"'), 4000, [], x="0 F"),
    # follows.
    case("soon is not tight, on and off", FOLLOWS, 4000, ["1000 on passed +1 @1001", "2000 off passed +1 @2001"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1001 T, 2001 F", sampling=10),
    case("off before it came on", FOLLOWS, 4000, ["1000 on cut short @1100", "1100 off already so @1100"],
         w="0 F, 1000 T, 1100 F", x="0 F"),
    # never.
    case("unknown all along", 'never = "x"\n', 4000, ["0 undecided for 4000 @0", "4000 undecided @4000"], x="0 ?"),
    case("violated all along", 'never = "x"\n', 4000, ["0 failed for 4000 @0"], x="0 T"),
    # Within `given`.
    case("violated from before given on", 'never = "x"\ngiven = "w"\n', 4000, ["900 failed for 700 @900"],
         w="0 F, 1000 T, 2000 F", x="0 F, 900 T, 1600 F"),
    case("within settle from before given on", 'never = "x"\ngiven = "w"\nsettle = "200 ms"\n', 4000,
         ["1000 passed for 1000 @2000"], w="0 F, 1000 T, 2000 F", x="0 F, 900 T, 1050 F"),
    case("a stretch is told when all in it is", 'never = "flashing(x)"\ngiven = "w"\n', 4000, ["1800 passed for 800 @3500"],
         w="0 F, 1800 T, 2600 F", x="0 F, 2000 T, 2200 F"),
    case("asleep within given", 'never = "x"\ngiven = "w"\n', 4000, ["1000 cut short for 1000 @2000"],
         w="0 F, 1000 T, 2000 F", x="0 F, 1500 z, 1600 F"),
    # Already so.
    case("unknown is not already so", WHEN + 'already = "counts"\n', 3000, ["1000 undecided @1300"],
         w="0 F, 1000 T", x="0 F, 900 ?, 1200 F"),
    case("already so is no margin", WHEN + 'not_before = "100 ms"\nalready = "counts"\n', 3000,
         ["1000 passed +0 @1000"], w="0 F, 1000 T", x="0 T", sampling=10),
    # Events.
    case("two events 1 ns apart", 'when = "changes(w) and x"\nexpect = "y"\nwithin = "300 ms"\n', 3000,
         ["1000 passed +100 @1100", "1000.000001 passed +99.999999 @1100"],
         w="0 F, 1000 T, 1000.000001 F", x="0 T", y="0 F, 1100 T"),
    case("either of two events 1 ns apart", 'when = "rises(w) or rises(x)"\nexpect = "y"\nwithin = "300 ms"\n', 3000,
         ["1000 passed +100 @1100", "1000.000001 passed +99.999999 @1100"],
         w="0 F, 1000 T", x="0 F, 1000.000001 T", y="0 F, 1100 T"),
]  # fmt: skip


@pytest.mark.parametrize("row", CASES, ids=lambda row: row.id)
@pytest.mark.parametrize("cut", ["whole", "cut at every change"])
def test_case(row: Case, cut: str) -> None:
    """The outcomes and their times are those of the table, however the data were cut; none is told too early."""
    cuts: list[float] = []

    def after_piece(upto: int, watchers: Sequence[Watcher]) -> None:
        done: list[Occurrence] = [o for w in watchers for o in w.done]  # type: ignore[attr-defined]
        assert all(o.decided_ns < upto for o in done)

    if cut == "cut at every change":
        times = {float(p.split()[0]) for s in row.signals.values() for p in s.split(",")}
        times |= {float(p.split("@")[1].split()[0]) for p in row.outcomes}
        cuts = sorted(t for time in times for t in (time, time + NS) if t <= row.end)
    check = f'[[check]]\nname = "c"\n{row.check}'
    (found,), _ = run(row.signals, check, row.end, cuts_ms=cuts, sampling_ms=row.sampling, after_piece=after_piece)
    assert told(found) == row.outcomes


@pytest.mark.parametrize(
    ("x", "uncertainty"),
    [
        ("0 F, 1100 T", 10),
        ("0 F, 1050 ?, 1100 T", 60),
        ("0 F, 1050 ?, 1070 z, 1100 T", 60),
        ("0 F, 1300.000001 T", 10),
        ("0 F", 0),
        ("0 F, 1400 ?, 1500 T", 0),
    ],
    ids=[
        "of both edges",
        "and how long it was unknown",
        "unknown, then asleep",
        "of what came too late",
        "no latency, no uncertainty",
        "not seen to come, no uncertainty",
    ],
)
def test_uncertainty(x: str, uncertainty: int) -> None:
    (found,), _ = run({"w": "0 F, 1000 T", "x": x}, f'[[check]]\nname = "c"\n{WHEN}', 3000, sampling_ms=10)
    assert [o.uncertainty_ns for o in found.occurrences] == [uncertainty * MS]
