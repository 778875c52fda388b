"""Operators that look at one time only: tables of codes, several sources of a signal, hysteresis."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.checks import pointwise as pw
from busprobe.checks.first_known import FirstKnown
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN, Changes

F, T, U, Z = FALSE, TRUE, UNKNOWN, ASLEEP
CODES = (F, T, U, Z)


def quantity(text: str, upto: int, *, settled: int | None = None) -> Changes:
    """ "10 1.5, 20 ?" as changes of a quantity."""
    parts = [p.split() for p in text.split(",") if p.strip()]
    code = [{"?": U, "z": Z}.get(what, T) for _, what in parts]
    value = [float(what) if c == T else math.nan for (_, what), c in zip(parts, code, strict=True)]
    times = np.array([int(t) for t, _ in parts], np.int64)
    barrier = None if settled is None else np.full(len(parts), settled, np.int64)
    return Changes(times, np.array(code, np.uint8), np.array(value), upto, barrier)


def condition(text: str, upto: int, *, settled: list[int] | None = None) -> Changes:
    parts = [p.split() for p in text.split(",") if p.strip()]
    codes = np.array([{"F": F, "T": T, "?": U, "z": Z}[what] for _, what in parts], np.uint8)
    barrier = None if settled is None else np.array(settled, np.int64)
    return Changes(np.array([int(t) for t, _ in parts], np.int64), codes, None, upto, barrier)


def said(*steps: Changes) -> str:
    """Points in the manner in which they are given, those before everything left out."""
    words = []
    for step in steps:
        for i, (t, code) in enumerate(zip(step.t_ns.tolist(), step.code.tolist(), strict=True)):
            value = None if step.value is None else step.value[i]
            what = "FT?z"[code] if value is None or code != T else f"{value:g}"
            later = "" if step.settled is None or step.settled[i] <= t else f" @{step.settled[i]}"
            words.append(f"{t} {what}{later}" if t > NEVER else f"- {what}")
    return ", ".join(words)


# Kleene's strong logic of three values (Kleene 1952, section 64), with asleep as a second, weaker unknown.
AND = {(F, F): F, (F, T): F, (F, U): F, (F, Z): F, (T, T): T, (T, U): U, (T, Z): Z, (U, U): U, (U, Z): U, (Z, Z): Z}
OR = {(F, F): F, (F, T): T, (F, U): U, (F, Z): Z, (T, T): T, (T, U): T, (T, Z): T, (U, U): U, (U, Z): U, (Z, Z): Z}
DIFFER = {(F, F): F, (F, T): T, (F, U): U, (F, Z): Z, (T, T): F, (T, U): U, (T, Z): Z, (U, U): U, (U, Z): U, (Z, Z): Z}
BOTH = {(F, F): T, (F, T): T, (F, U): U, (F, Z): Z, (T, T): T, (T, U): U, (T, Z): Z, (U, U): U, (U, Z): U, (Z, Z): Z}


@pytest.mark.parametrize(
    ("table", "expected"),
    [(pw.AND, AND), (pw.OR, OR), (pw.XOR, DIFFER), (pw.BOTH, BOTH)],
    ids=["and", "or", "differ", "both"],
)
def test_tables_of_two(table: np.ndarray, expected: dict[tuple[int, int], int]) -> None:
    assert {(a, b): table[a, b] for a in CODES for b in CODES} == {
        (a, b): expected[min(a, b), max(a, b)] if (table is not pw.BOTH or max(a, b) > T) else T
        for a in CODES
        for b in CODES
    }


def test_tables_of_one() -> None:
    assert pw.NOT.tolist() == [T, F, U, Z]
    assert pw.IS_KNOWN.tolist() == [T, T, F, Z]


@pytest.mark.parametrize("values", [(a, b, c) for a in CODES for b in CODES for c in CODES], ids=str)
def test_three_operands_in_any_order(values: tuple[int, int, int]) -> None:
    """What three conditions give does not depend on their order."""
    for table in (pw.AND, pw.OR):
        combine = pw.folded(table)
        found = {
            int(combine([np.array([v], np.uint8) for v in order], [])[0][0])
            for order in (values, values[::-1], values[1:] + values[:1])
        }
        assert len(found) == 1


def test_only_changes_come_out() -> None:
    both = pw.Pointwise(2, pw.folded(pw.AND))
    first = both.step([condition("10 F, 20 T", 30), condition("15 T, 25 T", 30)], 30)
    second = both.step([condition("", 60), condition("40 F, 50 F", 60)], 60)
    assert said(first, second) == "- z, 10 F, 20 T, 40 F"
    assert (first.upto_ns, second.upto_ns) == (30, 60)
    third = both.step([condition("", 90), condition("", 90)], 90)
    assert (len(third), third.upto_ns, third.value) == (0, 90, None)


def test_told_when_all_operands_are() -> None:
    """What was told later by then is no change any more."""
    either = pw.Pointwise(2, pw.folded(pw.OR))
    first = either.step([condition("10 T", 20, settled=[18]), condition("10 F", 20, settled=[14])], 20)
    second = either.step([condition("30 T", 40), condition("35 F", 40)], 40)
    assert said(first, second) == "- z, 10 T @18"


def test_told_later_lasts_over_a_cut() -> None:
    """An operand that is told at 50 only makes what the other says before it told at 50 too."""
    either = pw.Pointwise(2, pw.folded(pw.OR))
    first = either.step([condition("10 F", 20, settled=[50]), condition("10 F", 20)], 20)
    second = either.step([condition("", 60), condition("30 T, 55 F", 60)], 60)
    assert said(first, second) == "- z, 10 F @50, 30 T @50, 55 F"


def test_told_later_by_one_point_and_not_by_another() -> None:
    """Each point of an operand says anew when it can be told, within a piece and over a cut."""
    either = pw.Pointwise(2, pw.folded(pw.OR))
    first = either.step([condition("10 F, 15 F, 20 F", 25, settled=[40, NEVER, 40]), condition("10 F", 25)], 25)
    second = either.step([condition("", 28), condition("26 F", 28)], 28)
    third = either.step([condition("30 F, 35 F", 37, settled=[NEVER, 40]), condition("", 37)], 37)
    fourth = either.step([condition("", 60), condition("38 T, 55 F", 60)], 60)
    assert said(first, second, third, fourth) == "- z, 10 F @40, 15 F, 20 F @40, 30 F, 35 F @40, 38 T @40, 55 F"


def test_a_change_of_source_is_passed_on() -> None:
    part = condition("10 T, 20 F, 30 T", 40)
    quiet = [Changes(part.t_ns, part.code, None, 40, None, np.array(times, np.int64)) for times in ([20], [10, 20])]
    assert pw.Pointwise(2, pw.folded(pw.AND)).step(quiet, 40).quiet.tolist() == [10, 20]
    assert pw.Pointwise(1, pw.negated).step(quiet[:1], 40).quiet.tolist() == [20]


@pytest.mark.parametrize(
    ("op", "expected"),
    [
        ("<", "10 F, 20 T, 30 F, 40 ?, 50 F"),
        ("<=", "10 T, 30 F, 40 ?, 50 T"),
        (">", "10 F, 30 T, 40 ?, 50 F"),
        (">=", "10 T, 20 F, 30 T, 40 ?, 50 T"),
        ("==", "10 T, 20 F, 40 ?, 50 T"),
        ("!=", "10 F, 20 T, 40 ?, 50 F"),
    ],
)
def test_comparisons(op: str, expected: str) -> None:
    compare = pw.Pointwise(2, pw.compared(op))
    parts = [quantity("10 5, 20 4, 30 6, 40 ?, 50 5", 60), quantity(f"{NEVER} 5", 60)]
    assert said(compare.step(parts, 60)) == f"- z, {expected}"


@pytest.mark.parametrize(
    ("op", "expected"),
    [("+", "10 8, 20 2, 30 ?"), ("-", "10 4, 20 2, 30 ?"), ("*", "10 12, 20 0, 30 ?"), ("/", "10 3, 20 ?")],
)
def test_arithmetic(op: str, expected: str) -> None:
    compute = pw.Pointwise(2, pw.computed(op), quantity=True)
    out = compute.step([quantity("10 6, 20 2, 30 ?", 40), quantity("10 2, 20 0", 40)], 40)
    assert said(out) == f"- z, {expected}"
    assert out.value is not None
    assert all(math.isnan(v) for v, code in zip(out.value, out.code, strict=True) if code != T)


@pytest.mark.parametrize("is_swapped", [False, True], ids=["left", "right"])
def test_of_two_quantities_one_sleeps_or_is_lost(is_swapped: bool) -> None:
    parts = [quantity("10 z, 20 1, 40 ?", 50), quantity("10 2, 30 z", 50)]
    parts = parts[::-1] if is_swapped else parts
    compute = pw.Pointwise(2, pw.computed("+"), quantity=True)
    assert said(compute.step(parts, 50)) == "- z, 20 3, 30 z, 40 ?"
    compare = pw.Pointwise(2, pw.compared(">" if is_swapped else "<"))
    assert said(compare.step(parts, 50)) == "- z, 20 T, 30 z, 40 ?"


def test_too_large_a_number_is_unknown() -> None:
    compute = pw.Pointwise(2, pw.computed("*"), quantity=True)
    assert said(compute.step([quantity("10 1e200, 20 1", 40), quantity("10 1e200", 40)], 40)) == "- z, 10 ?, 20 1e+200"


@pytest.mark.parametrize(
    ("two_bit", "expected"),
    [(False, "5 T, 10 F, 20 T, 40 ?, 50 z, 60 T"), (True, "5 T, 10 F, 20 T, 30 ?, 50 z, 60 T")],
    ids=["any number", "2-bit switch"],
)
def test_a_number_as_a_condition(two_bit: bool, expected: str) -> None:
    """Zero is false; 10 and 11 of a 2-bit switch are error and not available (SAE J1939-71, from memory)."""
    truth = pw.Pointwise(1, pw.truth(two_bit))
    assert said(truth.step([quantity("5 -1, 10 0, 20 1, 30 3, 35 2, 40 ?, 50 z, 60 1", 70)], 70)) == f"- z, {expected}"


def test_one_of_some_values() -> None:
    among = pw.Pointwise(1, pw.among((1.0, 3.0)))
    assert said(among.step([quantity("10 0, 20 1, 30 3, 35 2, 37 4, 40 ?", 70)], 70)) == "- z, 10 F, 20 T, 35 F, 40 ?"
    none = pw.Pointwise(1, pw.among(()))
    assert said(none.step([quantity("10 0, 20 ?", 70)], 70)) == "- z, 10 F, 20 ?"


def test_a_number_that_changes_while_it_stays_known() -> None:
    """A change of value is a change; whether it is lost again or not, it is said once."""
    first = pw.Pointwise(1, lambda codes, values: (codes[0], values[0]), quantity=True)
    one = first.step([quantity("10 1, 20 2, 25 2, 30 ?", 35)], 35)
    two = first.step([quantity("40 ?, 50 2, 60 3", 65)], 65)
    three = first.step([quantity("70 3, 80 4", 90)], 90)
    assert said(one, two, three) == "- z, 10 1, 20 2, 30 ?, 50 2, 60 3, 80 4"


class TestFirstKnown:
    def test_the_first_listed_that_is_known(self) -> None:
        first = FirstKnown(3)
        parts = [quantity("10 1, 40 ?, 70 5", 80), quantity("20 2, 50 z", 80), quantity("30 3, 60 ?", 80)]
        out = first.step(parts, 80)
        assert said(out) == "- z, 10 1, 40 2, 50 3, 60 ?, 70 5"
        assert out.quiet.tolist() == [40, 50]

    @pytest.mark.parametrize(
        ("codes", "expected"),
        [("zz", "- z"), ("z?", "- z, 10 ?"), ("?z", "- z, 10 ?"), ("??", "- z, 10 ?")],
    )
    def test_none_known(self, codes: str, expected: str) -> None:
        first = FirstKnown(2)
        assert said(first.step([quantity(f"10 {c}", 20) for c in codes], 20)) == expected

    def test_lost_and_back_is_no_change_of_source(self) -> None:
        first = FirstKnown(2)
        out = first.step([quantity("10 1, 20 ?, 30 2", 40), quantity("", 40)], 40)
        assert said(out) == "- z, 10 1, 20 ?, 30 2"
        assert out.quiet.tolist() == []

    def test_over_a_cut(self) -> None:
        first = FirstKnown(2)
        one = first.step([quantity("10 1", 20), quantity("15 7", 20)], 20)
        two = first.step([quantity("", 30), quantity("25 8", 30)], 30)
        three = first.step([quantity("40 ?", 50), quantity("", 50)], 50)
        four = first.step([quantity("60 2", 70), quantity("", 70)], 70)
        assert said(one, two, three, four) == "- z, 10 1, 40 8, 60 2"
        assert [part.quiet.tolist() for part in (one, two, three, four)] == [[], [], [40], [60]]

    def test_over_a_cut_after_a_change_of_source(self) -> None:
        first = FirstKnown(2)
        one = first.step([quantity("10 1, 18 ?", 20), quantity("15 7", 20)], 20)
        two = first.step([quantity("", 30), quantity("25 8", 30)], 30)
        assert (said(one, two), one.quiet.tolist(), two.quiet.tolist()) == ("- z, 10 1, 18 7, 25 8", [18], [])

    def test_the_second_at_first_is_no_change_of_source(self) -> None:
        first = FirstKnown(2)
        assert first.step([quantity("", 20), quantity("10 7", 20)], 20).quiet.tolist() == []

    def test_a_change_of_source_of_a_source_is_passed_on(self) -> None:
        part = quantity("10 1, 20 2", 30)
        quiet = Changes(part.t_ns, part.code, part.value, 30, None, np.array([20], np.int64))
        assert FirstKnown(2).step([quiet, quantity("", 30)], 30).quiet.tolist() == [20]

    def test_nothing_new(self) -> None:
        first = FirstKnown(2)
        assert said(first.step([quantity("", 20), quantity("", 20)], 20)) == "- z"
        later = first.step([quantity("", 30), quantity("", 30)], 30)
        assert said(later) == ""
        assert later.value is not None


class TestHysteresis:
    @pytest.mark.parametrize(
        ("values", "expected"),
        [
            ("10 0, 20 8, 30 8.1, 40 5, 50 4.9, 60 8", "10 F, 30 T, 50 F"),
            ("10 6, 20 9", "20 T"),
            ("10 6, 20 4, 30 6", "20 F"),
            ("10 9, 20 ?, 30 6, 40 9", "10 T, 20 ?, 40 T"),
            ("10 9, 20 ?, 30 6, 40 4, 50 6", "10 T, 20 ?, 40 F"),
            ("10 9, 20 z, 30 6, 40 4", "10 T, 20 z, 40 F"),
            ("10 9, 20 6, 30 9, 40 6, 50 3", "10 T, 50 F"),
        ],
    )
    @pytest.mark.parametrize("is_cut", [False, True], ids=["whole", "cut"])
    def test_true_above_8_false_again_below_5(self, values: str, expected: str, is_cut: bool) -> None:
        moving = pw.Hysteresis(8.0, 5.0)
        if is_cut:
            steps = [
                moving.step([quantity(v, upto=1 + int(v.split()[0]))], 1 + int(v.split()[0]))
                for v in values.split(", ")
            ]
        else:
            steps = [moving.step([quantity(values, 100)], 100)]
        assert said(*steps) == f"- z, {expected}"

    def test_in_pieces_of_several_values(self) -> None:
        moving = pw.Hysteresis(8.0, 5.0)
        pieces = ["10 3, 20 9", "30 6, 40 6, 50 4, 55 7", "", "60 6", "70 9, 80 4", "90 7, 95 ?"]
        upto = [25, 57, 58, 65, 85, 99]
        steps = [moving.step([quantity(piece, at)], at) for piece, at in zip(pieces, upto, strict=True)]
        assert said(*steps) == "- z, 10 F, 20 T, 50 F, 70 T, 80 F, 95 ?"

    def test_one_level(self) -> None:
        """Above it true, below it false, at it as before."""
        moving = pw.Hysteresis(8.0, 8.0)
        assert said(moving.step([quantity("10 7, 20 8, 30 9, 40 8, 50 7", 60)], 60)) == "- z, 10 F, 30 T, 50 F"

    def test_it_is_told_when_the_quantity_is(self) -> None:
        moving = pw.Hysteresis(8.0, 5.0)
        assert said(moving.step([quantity("10 9, 20 3", 30, settled=25)], 30)) == "- z, 10 T @25, 20 F @25"


@given(st.lists(st.sets(st.sampled_from([NEVER, *range(9)])), min_size=1, max_size=4))
def test_the_times_of_several_are_merged_each_once_and_rising(sets: list[set[int]]) -> None:
    parts = [Changes(np.array(sorted(times), np.int64), np.full(len(times), T, np.uint8), None, 10) for times in sets]
    assert pw.merged_times(parts).tolist() == sorted(set().union(*sets))


@pytest.mark.parametrize("times", [[], [5], [NEVER, 5], [NEVER]], ids=str)
def test_an_operator_says_what_holds_before_the_first_change(times: list[int]) -> None:
    part = Changes(np.array(times, np.int64), np.full(len(times), T, np.uint8), None, 10)
    assert pw.Pointwise(1, pw.first).step([part], 10).t_ns[0] == NEVER
