"""Operators that look at a stretch of time, on literal points; wherever the data are cut."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from test_pointwise import condition, quantity, said

from busprobe.checks.network import Operator
from busprobe.checks.temporal import Age, Edge, Held, InStep, sample_points
from busprobe.timeline import ASLEEP, NEVER, TRUE, Changes, Timeline

END = 100
PIECES = (END, 45, 35, 1)

CASES: list[tuple[str, Callable[[], Operator], str, str]] = [
    # Edges hold for 1 ns.
    ("rises", lambda: Edge("rises"), "10 F, 20 T, 30 F", "10 F, 20 T, 21 F"),
    ("falls", lambda: Edge("falls"), "10 F, 20 T, 30 F, 40 T", "10 F, 30 T, 31 F"),
    ("changes", lambda: Edge("changes"), "10 F, 20 T, 30 F", "10 F, 20 T, 21 F, 30 T, 31 F"),
    ("changes at the end", lambda: Edge("changes"), "10 F, 20 T, 30 F, 99 T", "10 F, 20 T, 21 F, 30 T, 31 F, 99 T"),
    ("changes 1 ns apart", lambda: Edge("changes"), "10 F, 20 T, 21 F, 22 T", "10 F, 20 T, 23 F"),
    ("no rise from unknown", lambda: Edge("rises"), "10 ?, 20 T, 30 ?, 40 F, 50 T",
     "10 ?, 20 F, 30 ?, 40 F, 50 T, 51 F"),
    ("no fall into unknown", lambda: Edge("falls"), "10 T, 20 ?, 30 T, 35 T, 40 F, 50 F",
     "10 F, 20 ?, 30 F, 40 T, 41 F"),
    ("no rise at first sight", lambda: Edge("rises"), "10 T", "10 F"),
    ("lost 1 ns after its rise", lambda: Edge("rises"), "10 F, 20 T, 21 ?", "10 F, 20 T, 21 ?"),
    ("asleep", lambda: Edge("falls"), "10 F, 20 z, 30 F", "10 F, 20 z, 30 F"),
    # Held.
    ("held for 10", lambda: Held(10), "10 F, 20 T, 50 F", "10 F, 30 T, 50 F"),
    ("held from time 0 on", lambda: Held(10), "0 T", "10 T"),
    ("held before all time", lambda: Held(10), f"{NEVER} T, 50 F", "0 T, 50 F"),
    ("held no longer than 10", lambda: Held(10), "10 F, 20 T, 30 F, 40 T", "10 F, 50 T"),
    ("held, unknown in between", lambda: Held(10), "10 T, 40 ?, 45 T", "20 T, 40 ?, 55 T"),
    ("held, false outweighs unknown", lambda: Held(10), "10 T, 40 F, 42 ?, 44 T", "20 T, 40 F, 52 ?, 54 T"),
    ("held, unknown outweighs asleep", lambda: Held(10), "10 T, 40 ?, 42 z, 44 T", "20 T, 40 ?, 52 z, 54 T"),
    ("held, asleep outweighs true", lambda: Held(10), "10 T, 40 z, 42 T", "20 T, 40 z, 52 T"),
    # In step (the operand is "they differ").
    ("in step but for 10", lambda: InStep(10), "10 F, 20 T, 30 F", "10 T, 20 T @30"),
    ("out of step", lambda: InStep(10), "10 F, 20 T, 31 F", "10 T, 20 F @30, 31 T"),
    ("out of step and lost", lambda: InStep(10), "10 F, 20 T, 35 ?, 40 T, 60 z",
     "10 T, 20 F @30, 35 ?, 40 F @50, 60 z"),
    ("out of step to the end", lambda: InStep(10), "10 F, 20 T", "10 T, 20 F @30"),
    ("lost before it is long", lambda: InStep(10), "10 F, 20 T, 25 ?, 26 F", "10 T, 20 T @25, 25 ?, 26 T"),
]  # fmt: skip


@pytest.mark.parametrize(("make", "points", "expected"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: f"in pieces of {piece} ns")
def test_case(make: Callable[[], Operator], points: str, expected: str, piece: int) -> None:
    assert holding(outcome(make(), condition(points, END), piece)) == expected


def outcome(operator: Operator, changes: Changes, piece: int) -> Timeline:
    """What an operator makes of its operand, given in pieces so many ns long."""
    operand, out = Timeline(quantity=changes.value is not None), Timeline()
    operand.extend(changes)
    low = NEVER
    for cut in [*range(0, END, piece), END]:
        part = operator.step([operand.between(low, cut)], cut)
        assert np.all(np.diff([out.upto_ns - 1, *part.t_ns.tolist(), part.upto_ns]) > 0)
        out.extend(part)
        low = cut
    return out


def holding(line: Timeline) -> str:
    """ "20 T @30": true from 20 on, told at 30; each only where it differs from what was before."""
    words, last = [], (ASLEEP, NEVER)
    for t in range(line.upto_ns):
        told = line.settled_at(t)
        state = (line.code_at(t), told if told > t else NEVER)
        if state != last and (state[0] != last[0] or state[1] > NEVER):
            words.append(f"{t} {'FT?z'[state[0]]}" + (f" @{told}" if told > t else ""))
        last = state
    return ", ".join(words)


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: f"in pieces of {piece} ns")
def test_each_event_is_a_point(piece: int) -> None:
    out = outcome(Edge("changes"), condition("10 F, 20 T, 21 F", END), piece)
    assert out.t_ns[out.code == TRUE].tolist() == [20, 21]


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: f"in pieces of {piece} ns")
def test_changes_of_a_quantity(piece: int) -> None:
    """At each change of a known value, but not where it is lost, back, or says the same again."""
    out = outcome(Edge("changes"), quantity("10 1, 20 2, 25 2, 30 ?, 40 3, 50 3, 60 1", END), piece)
    assert holding(out) == "10 F, 20 T, 21 F, 30 ?, 40 F, 60 T, 61 F"


def test_a_change_of_source_is_no_edge() -> None:
    part = condition("10 F, 20 T, 30 F, 40 T", END)
    quiet = Changes(part.t_ns, part.code, None, END, None, np.array([20], np.int64))
    out = Edge("rises").step([quiet], END)
    assert out.t_ns[out.code == TRUE].tolist() == [40]
    assert out.quiet.tolist() == [20]


@pytest.mark.parametrize(
    ("op", "expected"),
    [
        (">", "10 F, 21 T, 30 F, 41 T, 60 F, 98 T"),
        (">=", "10 F, 20 T, 30 F, 40 T, 60 F, 86 T, 87 F, 97 T"),
        ("<", "10 T, 20 F, 30 T, 40 F, 60 T, 86 F, 87 T, 97 F"),
        ("<=", "10 T, 21 F, 30 T, 41 F, 60 T, 98 F"),
    ],
)
@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: f"in pieces of {piece} ns")
def test_age_against_10(op: str, expected: str, piece: int) -> None:
    """Samples 20, 30, 6, 10 and 11 ns apart: asleep before the first."""
    samples = sample_points(np.array([10, 30, 60, 66, 76, 87], np.int64), END)
    assert holding(outcome(Age(op, 10), samples, piece)) == expected


@pytest.mark.parametrize(("op", "expected"), [(">=", "10 T"), ("<", "10 F"), (">", "10 F, 11 T, 30 F, 31 T")])
def test_age_against_nothing(op: str, expected: str) -> None:
    """Every age is at least 0."""
    assert holding(outcome(Age(op, 0), sample_points(np.array([10, 30], np.int64), END), END)) == expected


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: f"in pieces of {piece} ns")
def test_what_is_told_late_stays_late(piece: int) -> None:
    """An operand told at 25 makes edges, held and in step told then too."""
    late = condition("10 F, 20 T, 40 F", END, settled=[NEVER, 25, NEVER])
    assert holding(outcome(Edge("rises"), late, piece)) == "10 F, 20 T @25, 21 F @25"
    assert holding(outcome(Held(3), late, piece)) == "10 F, 20 F @25, 23 T @25, 40 F"
    assert holding(outcome(InStep(30), late, piece)) == "10 T, 20 T @40"
    assert holding(outcome(InStep(2), late, piece)) == "10 T, 20 F @25, 40 T"
    again = condition(
        "10 F, 20 T, 25 T, 35 T, 40 F, 50 T, 55 T, 58 F", END, settled=[NEVER, 27, 45, 46, NEVER, 75, 70, 60]
    )
    assert holding(outcome(InStep(10), again, piece)) == "10 T, 20 F @45, 35 F @46, 40 T, 50 T @75, 58 T @60"
    more = condition("10 F, 20 T, 22 F, 44 T", END, settled=[NEVER, 25, 27, 46])
    assert holding(outcome(Edge("rises"), more, piece)) == "10 F, 20 T @25, 21 F @25, 22 F @27, 44 T @46, 45 F @46"


def test_told_late_over_a_cut_after_which_nothing_is() -> None:
    """A rise at 20 that is told at 25 goes false 1 ns later, told at 25 as well."""
    rises = Edge("rises")
    first = rises.step([condition("10 F, 20 T", 21, settled=[NEVER, 25])], 21)
    second = rises.step([condition("30 F, 40 T", END)], END)
    assert said(first, second) == "10 F, 20 T @25, 21 F @25, 30 F, 40 T, 41 F"


def test_asleep_before_the_first_point() -> None:
    assert said(Held(3).step([condition("10 T, 20 F", END)], END)) == "- z, 13 T, 20 F"
    assert said(Edge("falls").step([condition("10 F, 20 T", END)], END)) == "10 F, 20 F"
    assert said(Edge("rises").step([condition("10 T, 20 F, 30 T", END)], END)) == "10 F, 20 F, 30 T, 31 F"
