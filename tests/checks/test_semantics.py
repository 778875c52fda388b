"""The semantics of checks as a table of literal cases: what each must say, and when.

Times in ms. Every case is tried in one piece and cut at every ms at which anything happens.
The rules themselves are the project's own; DEVELOPERS.md states them in words.
"""

# ruff: noqa: E501 - a case reads best in one line
from __future__ import annotations

from typing import NamedTuple

import pytest
from stepped import run, told

WHEN = 'when = "w"\nexpect = "x"\nwithin = "300 ms"\n'
EVENT = 'when = "rises(w)"\nexpect = "x"\nwithin = "300 ms"\n'
HOLD = WHEN + 'hold = "while when"\n'


class Case(NamedTuple):
    id: str
    check: str
    signals: dict[str, str]
    end: float
    outcomes: list[str]
    verdict: str


def case(id_: str, check: str, end: float, outcomes: list[str], verdict: str, **signals: str) -> Case:
    return Case(id_, check, signals, end, outcomes, verdict)


CASES = [
    # when / expect / within: the window is closed at both ends.
    case("in time", WHEN, 3000, ["1000 passed +200 @1200"], "pass", w="0 F, 1000 T, 2000 F", x="0 F, 1200 T"),
    case("at the limit exactly", WHEN, 3000, ["1000 passed +300 @1300"], "pass", w="0 F, 1000 T", x="0 F, 1300 T"),
    case("1 ns past the limit", WHEN, 3000, ["1000 failed @1300"], "fail", w="0 F, 1000 T", x="0 F, 1300.000001 T"),
    case("never comes on", WHEN, 3000, ["1000 failed @1300"], "fail", w="0 F, 1000 T", x="0 F"),
    case("a pulse is enough", WHEN, 3000, ["1000 passed +100 @1100"], "pass", w="0 F, 1000 T", x="0 F, 1100 T, 1101 F"),
    case("on before: proves nothing", WHEN, 3000, ["1000 already so @1000"], "not exercised", w="0 F, 1000 T", x="0 T"),
    case(
        "on at the same instant: proves nothing", WHEN, 3000, ["1000 already so @1000"], "not exercised",
        w="0 F, 1000 T", x="0 F, 1000 T",
    ),
    case(
        "on before, where that counts", WHEN + 'already = "counts"\n', 3000, ["1000 passed +0 @1000"], "pass",
        w="0 F, 1000 T", x="0 T",
    ),
    case(
        "a lamp that is always on never passes", WHEN, 9000,
        ["1000 already so @1000", "3000 already so @3000", "5000 already so @5000"], "not exercised",
        w="0 F, 1000 T, 2000 F, 3000 T, 4000 F, 5000 T, 6000 F", x="0 T",
    ),
    case("no rise: not exercised", WHEN, 3000, [], "not exercised", w="0 F", x="0 F"),
    case("true at first sight: start not seen", WHEN, 3000, [], "not exercised", w="0 T, 2000 F", x="0 F, 100 T"),
    case("true after unknown: start not seen", WHEN, 3000, [], "not exercised", w="0 F, 500 ?, 900 T", x="0 F, 1000 T"),
    case("true after sleep: start not seen", WHEN, 3000, [], "not exercised", w="0 F, 500 z, 900 T", x="0 F, 1000 T"),
    case("falls first: cut short", WHEN, 3000, ["1000 cut short @1150"], "not exercised",
         w="0 F, 1000 T, 1150 F", x="0 F, 1200 T"),
    case("falls as expect comes: passed", WHEN, 3000, ["1000 passed +150 @1150"], "pass",
         w="0 F, 1000 T, 1150 F", x="0 F, 1150 T"),
    case("falls at the limit: cut short", WHEN, 3000, ["1000 cut short @1300"], "not exercised",
         w="0 F, 1000 T, 1300 F", x="0 F"),
    case("falls past the limit: failed", WHEN, 3000, ["1000 failed @1300"], "fail",
         w="0 F, 1000 T, 1300.000001 F", x="0 F"),
    case("data end first: cut short", WHEN, 1200, ["1000 cut short @1200"], "not exercised", w="0 F, 1000 T", x="0 F"),
    case("data end at the limit: failed", WHEN, 1300, ["1000 failed @1300"], "fail", w="0 F, 1000 T", x="0 F"),
    case("when unknown meanwhile goes on", WHEN, 3000, ["1000 passed +250 @1250"], "pass",
         w="0 F, 1000 T, 1100 ?, 1200 T", x="0 F, 1250 T"),
    case("when false after unknown: cut short", WHEN, 3000, ["1000 cut short @1200"], "not exercised",
         w="0 F, 1000 T, 1100 ?, 1200 F", x="0 F, 1250 T"),
    case(
        "P to R (150 ms) to N to D, then three full reverses", WHEN, 20000,
        ["1000 cut short @1150", "3000 passed +200 @3200", "7000 passed +180 @7180", "11000 passed +220 @11220"], "pass",
        w="0 F, 1000 T, 1150 F, 3000 T, 5000 F, 7000 T, 9000 F, 11000 T, 13000 F",
        x="0 F, 3200 T, 5200 F, 7180 T, 9150 F, 11220 T, 13100 F",
    ),
    # Unknown is not false.
    case("unknown through the window", WHEN, 3000, ["1000 undecided @1300"], "undecided", w="0 F, 1000 T", x="0 F, 900 ?"),
    case("unknown for a part of it", WHEN, 3000, ["1000 undecided @1300"], "undecided",
         w="0 F, 1000 T", x="0 F, 1100 ?, 1200 F"),
    case("a signal lost for 3 s is undecided", WHEN, 9000, ["1000 undecided @1300"], "undecided",
         w="0 F, 1000 T", x="0 F, 1100 ?, 4100 T"),
    case("unknown, then seen false and true", WHEN, 3000, ["1000 passed +250 @1250"], "pass",
         w="0 F, 1000 T", x="0 F, 1050 ?, 1150 F, 1250 T"),
    case("true after unknown that began in the window", WHEN, 3000, ["1000 passed +250 @1250 tight"], "pass",
         w="0 F, 1000 T", x="0 F, 1050 ?, 1250 T"),
    case("true after unknown at the start: not seen to become so", WHEN, 3000, ["1000 undecided @1100"], "undecided",
         w="0 F, 1000 T", x="0 F, 900 ?, 1100 T"),
    case("asleep counts as unknown in the window", WHEN, 3000, ["1000 undecided @1300"], "undecided",
         w="0 F, 1000 T", x="0 F, 900 z"),
    # Events open at instants and are never cut short.
    case("a 100 ms tap on an event check is not cut short", EVENT, 3000, ["1000 passed +200 @1200"], "pass",
         w="0 F, 1000 T, 1100 F", x="0 F, 1200 T"),
    case("two events, two windows", EVENT, 3000, ["1000 passed +250 @1250", "1100 passed +150 @1250"], "pass",
         w="0 F, 1000 T, 1050 F, 1100 T", x="0 F, 1250 T"),
    case("falls(w) opens at the fall", EVENT.replace("rises", "falls"), 3000, ["1500 failed @1800"], "fail",
         w="0 F, 1000 T, 1500 F", x="0 F"),
    case("changes(w) opens at both", EVENT.replace("rises", "changes"), 3000,
         ["1000 passed +10 @1010", "1500 failed @1800"], "fail", w="0 F, 1000 T, 1500 F", x="0 F, 1010 T, 1400 F"),
    case("unknown to true is no event", EVENT, 3000, [], "not exercised", w="0 ?, 1000 T", x="0 F"),
    case("an event and a condition", EVENT.replace("rises(w)", "rises(w) and v"), 5000, ["3000 failed @3300"], "fail",
         w="0 F, 1000 T, 2000 F, 3000 T", v="0 F, 2500 T", x="0 F"),
    # not_before.
    case("early", WHEN + 'not_before = "100 ms"\n', 3000, ["1000 failed @1050"], "fail", w="0 F, 1000 T", x="0 F, 1050 T"),
    case("at not_before exactly", WHEN + 'not_before = "100 ms"\n', 3000, ["1000 passed +100 @1100"], "pass",
         w="0 F, 1000 T", x="0 F, 1100 T"),
    case("an early pulse fails though it comes again", WHEN + 'not_before = "100 ms"\n', 3000, ["1000 failed @1020"],
         "fail", w="0 F, 1000 T", x="0 F, 1020 T, 1030 F, 1200 T"),
    case("unknown across not_before", WHEN + 'not_before = "100 ms"\n', 3000, ["1000 undecided @1200"], "undecided",
         w="0 F, 1000 T", x="0 F, 1050 ?, 1200 T"),
    case("unknown before not_before only", WHEN + 'not_before = "100 ms"\n', 3000, ["1000 failed @1300"], "fail",
         w="0 F, 1000 T", x="0 F, 1020 ?, 1080 F"),
    # hold.
    case("held while when", HOLD, 4000, ["1000 passed +200 @2000"], "pass", w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 2100 F"),
    case("dropped and back", HOLD, 4000, ["1000 failed +200 @1500"], "fail",
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 F, 1510 T"),
    case("dropped within settle", HOLD + 'settle = "50 ms"\n', 4000, ["1000 passed +200 @2000"], "pass",
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 F, 1550 T"),
    case("dropped for longer than settle", HOLD + 'settle = "50 ms"\n', 4000, ["1000 failed +200 @1550"], "fail",
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 F, 1550.000001 T"),
    case("goes with when", HOLD, 4000, ["1000 passed +200 @2000"], "pass", w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 2000 F"),
    case("goes 10 ms early", HOLD, 4000, ["1000 failed +200 @1990"], "fail", w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1990 F"),
    case("unknown while it had to hold", HOLD, 4000, ["1000 undecided +200 @2000"], "undecided",
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 ?, 1600 T"),
    case("unknown, then dropped: failed", HOLD, 4000, ["1000 failed +200 @1700"], "fail",
         w="0 F, 1000 T, 2000 F", x="0 F, 1200 T, 1500 ?, 1600 T, 1700 F"),
    case("data end while held: so far", HOLD, 1800, ["1000 passed +200 @1800"], "pass", w="0 F, 1000 T", x="0 F, 1200 T"),
    case("held for a time, on through the fall of when", WHEN + 'hold = "1 s"\n', 4000, ["1000 passed +200 @2200"], "pass",
         w="0 F, 1000 T, 1500 F", x="0 F, 1200 T, 2200 F"),
    case("not held for the time", WHEN + 'hold = "1 s"\n', 4000, ["1000 failed +200 @2100"], "fail",
         w="0 F, 1000 T, 1500 F", x="0 F, 1200 T, 2100 F"),
    case("data end before the time is over", WHEN + 'hold = "1 s"\n', 2000, ["1000 cut short @2000"], "not exercised",
         w="0 F, 1000 T", x="0 F, 1200 T"),
    # follows: two checks in one.
    case(
        "on and off", 'follows = "x"\nwhen = "w"\non_within = "200 ms"\noff_within = "100 ms"\n', 4000,
        ["1000 on passed +150 @1150", "2000 off passed +80 @2080"], "pass", w="0 F, 1000 T, 2000 F", x="0 F, 1150 T, 2080 F",
    ),
    case(
        "late off", 'follows = "x"\nwhen = "w"\non_within = "200 ms"\noff_within = "100 ms"\n', 4000,
        ["1000 on passed +150 @1150", "2000 off failed @2100"], "fail", w="0 F, 1000 T, 2000 F", x="0 F, 1150 T, 2150 F",
    ),
    case(
        "only its on half was tried", 'follows = "x"\nwhen = "w"\non_within = "200 ms"\noff_within = "100 ms"\n', 4000,
        ["1000 on passed +150 @1150"], "not exercised", w="0 F, 1000 T", x="0 F, 1150 T",
    ),
    # never and always.
    case("never, and never was", 'never = "x"\n', 4000, ["0 passed for 4000 @4000"], "pass", x="0 F"),
    case("never, but was", 'never = "x"\n', 4000, ["1000 failed for 500 @1000"], "fail", x="0 F, 1000 T, 1500 F"),
    case("within settle", 'never = "x"\nsettle = "200 ms"\n', 4000, ["0 passed for 4000 @4000"], "pass",
         x="0 F, 1000 T, 1200 F"),
    case("past settle", 'never = "x"\nsettle = "200 ms"\n', 4000, ["1000 failed for 201 @1200"], "fail",
         x="0 F, 1000 T, 1201 F"),
    case("going on at the end", 'never = "x"\nsettle = "200 ms"\n', 1500, ["1000 failed for 500 @1200"], "fail", x="0 F, 1000 T"),
    case("unknown for a while", 'never = "x"\n', 4000, ["1000 undecided for 500 @1000"], "undecided",
         x="0 F, 1000 ?, 1500 F"),
    case("asleep is excused", 'never = "x"\n', 4000, ["0 passed for 4000 @4000"], "pass", x="0 F, 1000 z, 1500 F"),
    case("never known at all", 'never = "x"\n', 4000, ["4000 undecided @4000"], "undecided", x="0 z"),
    case("always is never not", 'always = "x"\n', 4000, ["1000 failed for 500 @1000"], "fail", x="0 T, 1000 F, 1500 T"),
    case("given: each stretch is an occurrence", 'never = "x"\ngiven = "g"\n', 5000,
         ["1000 passed for 1000 @2000", "3000 passed for 500 @3500"], "pass", x="0 F", g="0 F, 1000 T, 2000 F, 3000 T, 3500 F"),
    case("given never true", 'never = "x"\ngiven = "g"\n', 5000, [], "not exercised", x="0 F", g="0 F"),
    case("violated within given", 'never = "x"\ngiven = "g"\n', 5000,
         ["1500 failed for 100 @1500", "3000 passed for 500 @3500"], "fail",
         x="0 F, 1500 T, 1600 F", g="0 F, 1000 T, 2000 F, 3000 T, 3500 F"),
    case("violated outside given counts too", 'never = "x"\ngiven = "g"\n', 5000,
         ["1000 passed for 1000 @2000", "2500 failed for 100 @2500"], "fail", x="0 F, 2500 T, 2600 F", g="0 F, 1000 T, 2000 F"),
    case("unknown outside given does not count", 'never = "x"\ngiven = "g"\n', 5000, ["1000 passed for 1000 @2000"], "pass",
         x="0 F, 2500 ?, 2600 F", g="0 F, 1000 T, 2000 F"),
    case("unknown within given counts", 'never = "x"\ngiven = "g"\n', 5000, ["1500 undecided for 100 @1500"], "undecided",
         x="0 F, 1500 ?, 1600 F", g="0 F, 1000 T, 2000 F"),
    case("given going on at the end: so far", 'never = "x"\ngiven = "g"\n', 1800, ["1000 passed for 800 @1800"], "pass",
         x="0 F", g="0 F, 1000 T"),
    # Operators.
    case("held: true for long enough", 'when = "held(w, \'200 ms\')"\nexpect = "x"\nwithin = "300 ms"\n', 4000,
         ["2200 passed +100 @2300"], "pass", w="0 F, 1000 T, 1200 F, 2000 T", x="0 F, 2300 T"),
    case("age: older than", 'never = "age(w) > \'1 s\'"\n', 4000, ["2500.000001 failed for 499.999999 @2500.000001"], "fail",
         w="0 F, 1000 T, 1500 F, 3000 T"),
    case("known is never unknown", 'always = "known(w)"\n', 4000, ["1000 failed for 500 @1000"], "fail", w="0 F, 1000 ?, 1500 F"),
    case("in step but for 30 ms", "always = \"in_step(w, x, '30 ms')\"\n", 4000, ["0 passed for 4000 @4000"], "pass",
         w="0 F, 1000 T, 2000 F", x="0 F, 1030 T, 1975 F"),
    case("out of step", "always = \"in_step(w, x, '30 ms')\"\n", 4000, ["1000 failed for 31 @1030"], "fail",
         w="0 F, 1000 T, 2000 F", x="0 F, 1031 T, 2000 F"),
    case("false and unknown is false", 'never = "w and x"\n', 4000, ["0 passed for 4000 @4000"], "pass", w="0 F", x="0 F, 1000 ?, 2000 F"),
    case("true or unknown is true", 'always = "w or x"\n', 4000, ["0 passed for 4000 @4000"], "pass", w="0 T", x="0 F, 1000 ?, 2000 F"),
    case("what is lost outweighs what sleeps", 'never = "w and x"\n', 4000, ["1000 undecided for 1000 @1000"], "undecided",
         w="0 T, 1000 z, 2000 T", x="0 F, 1000 ?, 2000 F"),
    case("a quantity against a value", "when = \"v > '12 V'\"\nexpect = \"x\"\nwithin = \"300 ms\"\n", 4000,
         ["2000 passed +100 @2100"], "pass", v="0 11.5, 1000 12, 2000 12.1", x="0 F, 2100 T"),
    case("division by zero is unknown", "never = \"v / u > '1'\"\n", 4000, ["1000 undecided for 1000 @1000"], "undecided",
         v="0 1", u="0 2, 1000 0, 2000 2"),
    # Flashing lamps.
    case("flashes from its first flash", 'when = "w"\nexpect = "flashing(x)"\nwithin = "300 ms"\n', 9000,
         ["4000 passed +100 @4800"], "pass", w="0 F, 4000 T",
         x="0 F, 4100 T, 4300 F, 4800 T, 5000 F, 5500 T, 5700 F, 6200 T, 6400 F"),
    case("a single pulse is no flashing", 'when = "w"\nexpect = "flashing(x)"\nwithin = "300 ms"\n', 9000,
         ["4000 failed @5600"], "fail", w="0 F, 4000 T", x="0 F, 4100 T, 4300 F"),
    case("stops at the flash that fails to come", 'when = "w"\nexpect = "not flashing(x)"\nwithin = "1 s"\n', 9000,
         ["4000 passed +700 @5500"], "pass", w="0 F, 4000 T",
         x="0 F, 2600 T, 2800 F, 3300 T, 3500 F, 4000 T, 4200 F"),
    case("flashes 1.5 s apart still flash", 'never = "flashing(x)"\n', 9000, ["4000 failed for 3000 @5500"], "fail",
         x="0 F, 4000 T, 4200 F, 5500 T, 5700 F"),
    case("flashes further apart do not", 'never = "flashing(x)"\n', 9000, ["1500 passed for 7500 @9000"], "pass",
         x="0 F, 4000 T, 4200 F, 5500.000001 T, 5700 F"),
    case("steady on", 'when = "w"\nexpect = "steady_on(x)"\nwithin = "300 ms"\nhold = "while when"\n', 9000,
         ["4000 passed +100 @8000"], "pass", w="0 F, 4000 T, 8000 F", x="0 F, 4100 T, 8100 F"),
    case("flashing is not steady", 'when = "w"\nexpect = "steady_on(x)"\nwithin = "300 ms"\n', 9000,
         ["4000 failed @4800"], "fail", w="0 F, 4000 T, 8000 F", x="0 F, 4100 T, 4300 F, 4800 T, 5000 F, 5500 T, 5700 F"),
    # Verdicts.
    case("min_full", WHEN + "min_full = 2\n", 3000, ["1000 passed +200 @1200"], "not exercised", w="0 F, 1000 T", x="0 F, 1200 T"),
    case("one failure outweighs all", WHEN, 5000, ["1000 passed +200 @1200", "3000 failed @3300"], "fail",
         w="0 F, 1000 T, 2000 F, 3000 T", x="0 F, 1200 T, 2000 F"),
    case("undecided outweighs passed", WHEN, 5000, ["1000 passed +200 @1200", "3000 undecided @3300"], "undecided",
         w="0 F, 1000 T, 2000 F, 3000 T", x="0 F, 1200 T, 2000 F, 2900 ?"),
]  # fmt: skip


@pytest.mark.parametrize("row", CASES, ids=lambda row: row.id)
@pytest.mark.parametrize("cut", ["whole", "cut at every change", "cut every 7 ms"])
def test_case(row: Case, cut: str) -> None:
    """The outcomes, their times and the verdict are those of the table, however the data were cut."""
    cuts: list[float] = []
    if cut == "cut at every change":
        times = {float(p.split()[0]) for s in row.signals.values() for p in s.split(",")}
        cuts = sorted(t for time in times for t in (time, time + 1e-6) if t <= row.end)
    elif cut == "cut every 7 ms":
        cuts = [i * 7.0 for i in range(1, int(row.end // 7) + 1)]
    (check,), _ = run(row.signals, f'[[check]]\nname = "c"\n{row.check}', row.end, cuts_ms=cuts)
    assert told(check) == row.outcomes
    assert check.verdict.value == row.verdict


def test_there_is_no_case_twice() -> None:
    assert len({row.id for row in CASES}) == len(CASES) > 60
