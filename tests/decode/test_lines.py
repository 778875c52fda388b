"""Input lines: bounce, glitch and chatter as literal cases, however the polls were cut.

The rules are the project's own; DEVELOPERS.md states them in words ("Debounce"). Lengths of
bounces and the debounce times that are meant for them are those of data/bounce.csv.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from cutting import MS, Told, entries, instants, ms, ns, told_at
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.decode.lines import Burst, Debounce, thresholds
from busprobe.engine.history import MOST_BURSTS, NO_BOUNCE, Bounce, History
from busprobe.frames import BoolArray, Int64Array


class Line(NamedTuple):
    """The polls of one line, times in ns."""

    polls: list[tuple[int, bool]]
    debounce_ns: int
    down: list[int]
    """When its box went down."""
    end: int
    """Time of the last data; everything up to it, this instant too, is seen."""

    def marks(self) -> list[int]:
        return [t for t, _ in self.polls] + self.down


def run(line: Line, cuts: Sequence[int]) -> tuple[list[str], int]:
    """The points told and the number of glitches; the polls come in pieces up to each of `cuts`."""
    debounce = Debounce(line.debounce_ns)
    told = Told(quantity=False)
    t_ns = np.array([t for t, _ in line.polls], np.int64)
    level = np.array([high for _, high in line.polls], np.bool_)
    steps = [(t, False) for t in cuts] + [(t, True) for t in line.down if t <= line.end] + [(line.end + 1, False)]
    reached = 0
    for upto, is_down in sorted(steps):
        if upto > reached:
            rows = (t_ns >= reached) & (t_ns < upto)
            told.extend(debounce.step(t_ns[rows], level[rows], upto), upto)
            reached = upto
        if is_down:
            told.extend(debounce.down(upto), upto + 1)
    return told.points(), debounce.glitches


class Case(NamedTuple):
    id: str
    points: str
    line: Line
    glitches: int = 0


def case(
    id_: str, changes: str, points: str, *, debounce: float = 20, end: float = 1000, down: str = "", glitches: int = 0
) -> Case:
    """All times in ms. changes: the level from each time on, F low and T high; a poll at each of them."""
    polls = [(t, word == "T") for t, word in entries(changes)]
    return Case(
        id_, points, Line(polls, round(debounce * MS), [ns(t) for t in down.split()], round(end * MS)), glitches
    )


def pulses(first: int, step: float, count: int, word: str = "T") -> str:
    """`count` transitions, `step` ms apart, the first one at `first` to `word`."""
    other = "T" if word == "F" else "F"
    return ", ".join(f"{first + step * i:.10g} {other if i % 2 else word}" for i in range(count))


CASES = [
    case("the first poll counts at once", "0 T", "0 T"),
    case("no change", "0 F, 100 F, 200 F", "0 F"),
    case("a clean edge: told one debounce later", "0 F, 100 T", "0 F, 100 T @120"),
    case("a bounce: its first transition, told after its last", "0 F, 100 T, 103 F, 105 T, 110 F, 112 T",
         "0 F, 100 T @132"),
    case("a falling edge that bounces", "0 T, 100 F, 104 T, 109 F", "0 T, 100 F @129"),
    case("a glitch", "0 F, 100 T, 105 F", "0 F, 100 F @125", glitches=1),
    case("a glitch of three pulses is one", "0 F, 100 T, 105 F, 110 T, 115 F, 120 T, 125 F", "0 F, 100 F @145",
         glitches=1),
    case("two glitches", "0 F, 100 T, 105 F, 200 T, 205 F", "0 F, 100 F @125, 200 F @225", glitches=2),
    case("a glitch at the high level", "0 T, 100 F, 119.999999 T", "0 T, 100 T @139.999999", glitches=1),
    case("exactly one debounce apart: two edges", "0 F, 100 T, 120 F", "0 F, 100 T @120, 120 F @140"),
    case("1 ns less: a glitch", "0 F, 100 T, 119.999999 F", "0 F, 100 F @139.999999", glitches=1),
    case("the data end before the bounce is over", "0 F, 100 T, 105 F, 110 T", "0 F", end=129),
    case("the data end 1 ns before", "0 F, 100 T", "0 F", end=119.999998),
    case("all before that time is seen", "0 F, 100 T", "0 F, 100 T @120", end=119.999999),
    # Without debounce every transition is an edge.
    case("no debounce", "0 F, 100 T, 100.000001 F, 101 T", "0 F, 100 T, 100.000001 F, 101 T", debounce=0),
    # Longer than 10 x debounce: chattering.
    case("10 x debounce long: an edge still", f"0 F, {pulses(100, 10, 21)}", "0 F, 100 T @320"),
    case("10 x debounce long, and back: a glitch", f"0 F, {pulses(100, 10, 20)}, 300 F", "0 F, 100 F @310",
         glitches=1),
    case("longer by one transition: chattering", f"0 F, {pulses(100, 10, 22)}",
         "0 F, 100 F @310, 300 ? @310, 310 F @330"),
    case("chattering, and then high: no edge", f"0 F, {pulses(100, 10, 23)}",
         "0 F, 100 F @310, 300 ? @310, 310 ? @320, 320 T @340"),
    case("a transition past the limit after a pause", f"0 F, {pulses(100, 19, 11)}, 307 F",
         "0 F, 100 F @307, 300 ? @307, 307 F @327"),
    case("chattering at the high level", f"0 T, {pulses(100, 10, 22, 'F')}",
         "0 T, 100 T @310, 300 ? @310, 310 T @330"),
    case("settled again: edges count anew", f"0 F, {pulses(100, 10, 22)}, 500 T",
         "0 F, 100 F @310, 300 ? @310, 310 F @330, 500 T @520"),
    case("chattering when the data end", f"0 F, {pulses(100, 10, 22)}", "0 F, 100 F @310, 300 ? @310", end=325),
    # The box goes down.
    case("box down", "0 T", "0 T, 500 ?", down="500"),
    case("down in a burst: unknown from its start", "0 F, 100 T, 105 F, 110 T", "0 F, 100 ? @115, 115 ?", down="115"),
    case("down while chattering", f"0 F, {pulses(100, 10, 22)}", "0 F, 100 F @310, 300 ? @310, 310 ? @325, 325 ?",
         down="325"),
    case("down as the burst is over", "0 F, 100 T", "0 F, 100 T @120, 120 ?", down="120"),
    case("back: the next poll counts at once", "0 F, 100 T, 600 F, 700 T", "0 F, 100 T @120, 500 ?, 600 F, 700 T @720",
         down="500"),
    case("back within a bounce", "0 F, 600 T, 604 F, 607 T", "0 F, 500 ?, 600 T, 604 T @627", down="500", glitches=1),
    case("never seen before it was down", "600 T", "500 ?, 600 T", down="500"),
    case("a poll at the instant it goes down", "0 F, 500 T", "0 F, 500 T", down="500"),
]  # fmt: skip


def _expected(row: Case) -> list[str]:
    return [p.strip() for p in row.points.split(",") if p.strip()]


@pytest.mark.parametrize("row", CASES, ids=lambda row: row.id)
def test_case(row: Case) -> None:
    """Points, told times and glitches are those of the table, whole and cut at every instant."""
    expected = _expected(row)
    assert run(row.line, []) == (expected, row.glitches)
    cuts = instants(row.line.marks(), expected, row.line.end)
    assert run(row.line, cuts) == (expected, row.glitches)
    for cut in cuts:
        assert run(row.line, [cut]) == (expected, row.glitches)


@pytest.mark.parametrize("row", CASES, ids=lambda row: row.id)
def test_every_point_is_told_at_its_time(row: Case) -> None:
    """Data up to the time at which a point can be told bring it; data that end before do not."""
    for point in _expected(row):
        told = told_at(point)
        assert point in run(row.line._replace(end=told), [])[0]
        if told > 1:
            assert point not in run(row.line._replace(end=told - 2), [])[0]


def test_there_is_no_case_twice() -> None:
    assert len({row.id for row in CASES}) == len(CASES)


# The same from the words, transition by transition.


def plain(line: Line) -> tuple[list[str], int]:
    """What DEVELOPERS.md says of these polls, all of them at hand; the box is never down."""
    if not line.polls:
        return [], 0
    first_poll, stable = line.polls[0]
    points = [(first_poll, "FT"[stable], first_poll)]
    moves = [(t, high) for (_, before), (t, high) in pairwise(line.polls) if high != before]
    for burst in _bursts(moves, line.debounce_ns):
        first, (last, level) = burst[0][0], burst[-1]
        limit = first + 10 * line.debounce_ns
        past = [t for t, _ in burst if t > limit]
        if past and line.debounce_ns:
            points += [(first, "FT"[stable], past[0]), (limit, "?", past[0])]
            points += [(t, "?", following) for t, following in pairwise(past)]
        start = last if past and line.debounce_ns else first
        points.append((start, "FT"[level], last + line.debounce_ns))
        stable = level
    # A burst is over once all before its end is seen; a glitch ends on the level that it left.
    seen = [p for p in points if p[2] <= line.end + 1]
    over = [b for b in _bursts(moves, line.debounce_ns) if b[-1][0] + line.debounce_ns <= line.end + 1]
    glitches = sum(len(b) % 2 == 0 and b[-1][0] - b[0][0] <= 10 * line.debounce_ns for b in over)
    return [f"{ms(t)} {word}" + (f" @{ms(told)}" if told > t else "") for t, word, told in seen], glitches


def _bursts(moves: list[tuple[int, bool]], debounce_ns: int) -> list[list[tuple[int, bool]]]:
    """Runs of transitions less than `debounce` apart."""
    bursts: list[list[tuple[int, bool]]] = []
    for t, level in moves:
        if bursts and t - bursts[-1][-1][0] < debounce_ns:
            bursts[-1].append((t, level))
        else:
            bursts.append([(t, level)])
    return bursts


@st.composite
def lines(draw: st.DrawFn, *, down: bool = False) -> Line:
    """Polls 1 ms apart, or with gaps, of a line that bounces much."""
    gaps = draw(st.lists(st.sampled_from([1, 1, 1, 2, 3, 4, 5, 20]), max_size=120))
    times = np.cumsum(gaps).tolist()
    polls = [(t * MS, draw(st.booleans())) for t in times]
    end = (times[-1] if times else 0) + draw(st.integers(0, 8))
    gone = draw(st.lists(st.integers(0, max(end, 1)), max_size=3, unique=True)) if down else []
    return Line(polls, draw(st.sampled_from([0, 2, 3, 5])) * MS, sorted(t * MS for t in gone), end * MS)


@settings(max_examples=250, deadline=None, derandomize=True)
@given(lines(down=True), st.lists(st.integers(0, 400), max_size=10), st.sampled_from([0, 1]))
def test_any_cuts_equal_whole(line: Line, cuts_ms: list[int], odd: int) -> None:
    cuts = [t * MS + odd for t in cuts_ms if t * MS < line.end]
    assert run(line, cuts) == run(line, [])


@settings(max_examples=250, deadline=None, derandomize=True)
@given(lines())
def test_as_the_words_say(line: Line) -> None:
    assert run(line, []) == plain(line)


# Bounces of real switches.

with (Path(__file__).parent / "data" / "bounce.csv").open(encoding="utf-8", newline="") as stream:
    BOUNCE = {row["quantity"]: row for row in csv.DictReader(stream)}


def _ms(quantity: str, column: str) -> float:
    """A figure of the table; which of them are from memory is said there, row by row."""
    assert BOUNCE[quantity]["unit"] == "ms"
    return float(BOUNCE[quantity][column])


def bounce(length: float, period: float) -> Line:
    """A switch that closes at 100 ms and bounces for `length` ms, polled every `period` ms."""
    times = np.arange(0, 700, period)
    bounced = times[(times >= 100) & (times < 100 + length)]
    polls = [(round(t * MS), bool(t >= 100 + length or (t in bounced and (np.searchsorted(bounced, t) % 2 == 0))))
             for t in times]  # fmt: skip
    return Line(polls, 0, [], 700 * MS)


SAMPLING = [1.0, _ms("recommended sampling period", "max")]
WINDOW = [_ms("recommended software debounce window", "min"), _ms("recommended software debounce window", "max")]


@pytest.mark.parametrize("period", SAMPLING, ids=lambda ms: f"polled every {ms:g} ms")
@pytest.mark.parametrize("debounce", WINDOW, ids=lambda ms: f"debounce {ms:g} ms")
@pytest.mark.parametrize(
    "length",
    [
        _ms("switch bounce, average of tested switches", "typical"),
        _ms("switch bounce, longest except outliers", "max"),
        _ms("switch bounce, worst outlier (one switch, opening)", "max"),
    ],
    ids=lambda ms: f"bounces for {ms:g} ms",
)
def test_the_recommended_window_makes_one_edge(length: float, debounce: float, period: float) -> None:
    """Every bounce of the table is one edge at its first contact, and no glitch."""
    points, glitches = run(bounce(length, period)._replace(debounce_ns=round(debounce * MS)), [])
    edges = [p for p in points if p.split()[1] == "T"]
    assert [p.split()[0] for p in edges] == ["100"]
    assert told_at(edges[0]) <= (100 + length + period + debounce) * MS
    assert glitches == 0


def test_a_keyboard_window_is_too_short_for_the_worst_switch() -> None:
    """157 ms of bounce are over 10 x 5 ms: chattering, told as unknown and not as an edge."""
    window = _ms("keyboard switch debounce", "typical")
    worst = _ms("switch bounce, worst outlier (one switch, opening)", "max")
    points, _ = run(bounce(worst, 1.0)._replace(debounce_ns=round(window * MS)), [])
    assert next(p.split()[:2] for p in points if p.split()[1] == "?") == [f"{100 + 10 * window:g}", "?"]
    assert [p.split()[1] for p in points[-2:]] == ["?", "T"]
    assert points[-1].split()[0] == "256", "the last of the transitions, polled every 1 ms"


# Analogue lines.

BAND = [
    ("above the upper limit", [9001], [True]),
    ("at the upper limit", [5000, 9000], [False, False]),
    ("in the band at first: no level yet", [9000, 7000, 6000, 5999, 7000], [None, None, None, False, False]),
    ("in the band after high", [12000, 9000, 8000, 6000], [True, True, True, True]),
    ("in the band after low", [5999, 6000, 8000, 9000], [False, False, False, False]),
    ("up and down again", [0, 9001, 6000, 5999, 9000, 9001], [False, True, True, False, False, True]),
    ("negative", [-200, 12000], [False, True]),
]


@pytest.mark.parametrize(("millivolts", "expected"), [row[1:] for row in BAND], ids=[row[0] for row in BAND])
def test_thresholds(millivolts: list[int], expected: list[bool | None]) -> None:
    """On from above 9 V until below 6 V; between them as it was, however the polls are cut."""
    rows, level = thresholds(np.array(millivolts, np.int64), 9000, 6000, None)
    assert said(len(millivolts), rows, level) == expected
    state: bool | None = None
    out: list[bool | None] = []
    for reading in millivolts:
        rows, level = thresholds(np.array([reading], np.int64), 9000, 6000, state)
        out += said(1, rows, level)
        state = out[-1]
    assert out == expected


def said(count: int, rows: Int64Array, level: BoolArray) -> list[bool | None]:
    """The level at each poll, None where there is none."""
    out: list[bool | None] = [None] * count
    for row, high in zip(rows.tolist(), level.tolist(), strict=True):
        out[row] = high
    return out


def test_one_limit() -> None:
    """A reading at the limit changes nothing."""
    rows, level = thresholds(np.array([5001, 5000, 4999, 5000], np.int64), 5000, 5000, None)
    assert said(4, rows, level) == [True, True, False, False]


def test_bursts_and_what_a_history_keeps_of_them() -> None:
    """Each burst of more than one transition: when it was over, how many, how long, whether it came to nothing."""
    text = "0 F, 100 T, 103 F, 105 T, 200 F, 300 T, 309 F, 400 T, 412 F, 414 T"
    polls = [(ns(float(t)), word == "T") for t, word in (step.split() for step in text.split(", "))]
    debounce = Debounce(20 * MS)
    debounce.step(np.array([t for t, _ in polls]), np.array([high for _, high in polls]), ns(1000))
    assert debounce.bursts == [
        Burst(ns(125), 3, ns(5)),
        Burst(ns(329), 2, ns(9), is_glitch=True),
        Burst(ns(434), 3, ns(14)),
    ]
    history = History(is_condition=True)
    history.bounced(debounce.bursts[:1])
    history.bounced(debounce.bursts[1:])
    told = [history.bounce_at(ns(t)) for t in (124, 125, 329, 433, 434, 10_000)]
    assert told == [
        NO_BOUNCE, Bounce(0, 2, ns(5)), Bounce(1, 2, ns(5)), Bounce(1, 2, ns(5)), Bounce(1, 4, ns(14)),
        Bounce(1, 4, ns(14)),
    ]  # fmt: skip


def test_a_history_keeps_the_newest_bursts() -> None:
    history = History(is_condition=True)
    bursts = [Burst(t, 2, 1, is_glitch=True) for t in range(1, MOST_BURSTS + 2)]
    history.bounced(bursts)
    assert history.bounce_at(MOST_BURSTS + 1).glitches == MOST_BURSTS + 1
    assert history.bounce_at(0).glitches == MOST_BURSTS // 2
