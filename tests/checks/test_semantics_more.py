"""More literal cases of the semantics, in the manner of the table of `test_semantics`.

Most of them were found by the random trials of `test_any_cut`, or tell a wrong evaluator from the right one.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest
from stepped import run, told

WHEN = 'when = "w"\nexpect = "x"\nwithin = "300 ms"\n'
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


CASES = [
    # The hold.
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
    # Already so.
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
    """The outcomes and their times are those of the table, however the data were cut."""
    cuts: list[float] = []
    if cut == "cut at every change":
        times = {float(p.split()[0]) for s in row.signals.values() for p in s.split(",")}
        cuts = sorted(t for time in times for t in (time, time + NS) if t <= row.end)
    check = f'[[check]]\nname = "c"\n{row.check}'
    (found,), _ = run(row.signals, check, row.end, cuts_ms=cuts, sampling_ms=row.sampling)
    assert told(found) == row.outcomes
