"""What checks and triggers have come to is kept as it grows: the work of a line does not grow with it."""

from __future__ import annotations

import random
import sys
from collections.abc import Callable

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.bench.load import loads
from busprobe.checks.watching import Watcher
from busprobe.engine.engine import Engine
from busprobe.engine.kept import settled
from busprobe.engine.plan import build
from busprobe.engine.watches import result
from busprobe.frames import InputBatch
from busprobe.grown import Growing, Occurrences, order
from busprobe.results import Occurrence, Outcome

MS, START = 1_000_000, 1_800_000_000_000_000_000
PLAN = build(
    loads(
        """
[vehicle]
name = "lamps"
[[inputs]]
name = "box"
driver = "modbus"
port = "x"
period = "10 ms"
[[inputs.line]]
name = "turn"
number = 0
[[inputs.line]]
name = "lamp"
number = 1
[[inputs.line]]
name = "door"
number = 2
[signals]
turn = { from = "box.turn" }
lamp = { from = "box.lamp" }
door = { from = "box.door" }
[[check]]
name = "Lamp follows the turn signal"
follows = "lamp"
when = "turn"
on_within = "200 ms"
off_within = "200 ms"
[[check]]
name = "Lamp comes at once"
when = "turn"
expect = "lamp"
within = "20 ms"
[[check]]
name = "Lamp dark without the turn signal"
never = "lamp and not turn"
settle = "30 ms"
[[check]]
name = "Lamp never without the door"
never = "lamp and door"
[[trigger]]
name = "Turn signal comes on"
on = "rises(turn)"
"""
    ),
    {},
)
CYCLE = 20
"""Polls of the flashing lamp: on for half of them, the lamp 50 ms behind."""


def polls(first: int, count: int, *, back_ns: int = 0) -> InputBatch:
    at = np.arange(first, first + count)
    turn, lamp = at // (CYCLE // 2) % 2, (at - 5) // (CYCLE // 2) % 2
    mask = (turn | lamp << 1).astype(np.uint64)
    t_ns = START - back_ns + at * 10 * MS
    return InputBatch("box", t_ns, mask, None, complete_to_ns=int(t_ns[-1]) + 1)


def flashed(cycles: int) -> Engine:
    engine = Engine(PLAN, ["box"], by_channel=True)
    for first in range(0, cycles * CYCLE, 10 * CYCLE):
        engine.push("box", polls(first, 10 * CYCLE))
        engine.advance()
        engine.checks_so_far()
    return engine


def work(what: Callable[[], object]) -> int:
    """How many calls of functions, Python's own too, something takes."""
    calls = 0

    def count(_frame: object, event: str, _arg: object) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        what()
    finally:
        sys.setprofile(before)
    return calls


def test_a_line_costs_the_same_after_an_hour_as_after_a_minute() -> None:
    """... and so does the picture of it, and the log that a recording which ends gets."""

    def line(engine: Engine, cycles: int) -> None:
        engine.push("box", polls(cycles * CYCLE, CYCLE))
        engine.advance()
        for check in engine.checks_so_far():
            if isinstance(check.occurrences, Occurrences):
                check.occurrences[-1:]
        engine.triggers_so_far()[-1000:]

    short, long = (flashed(cycles) for cycles in (50, 2000))
    assert len(long.checks_so_far()[0].occurrences) > 3900
    few, many = work(lambda: line(short, 50)), work(lambda: line(long, 2000))
    assert many < 2 * few
    few, many = work(short.rest_if_ended), work(long.rest_if_ended)
    assert 100 < many < 2 * few


def test_an_unchanged_check_is_the_same_object_and_a_changed_one_shares_what_it_was() -> None:
    engine = flashed(100)
    before = engine.checks_so_far()
    assert all(a is b for a, b in zip(before, engine.checks_so_far(), strict=True))
    engine.push("box", polls(100 * CYCLE, CYCLE))
    engine.advance()
    after = engine.checks_so_far()
    assert [a is b for a, b in zip(before, after, strict=True)] == [False, False, False, True]
    for old, new in zip(before[:3], after[:3], strict=True):
        assert isinstance(old.occurrences, Occurrences)
        assert isinstance(new.occurrences, Occurrences)
        assert new.occurrences.shared_with(old.occurrences) >= len(old.occurrences) - 3
        assert len(new.occurrences) > len(old.occurrences)


def test_watchers_hold_only_what_may_still_change() -> None:
    engine = flashed(200)
    held = [len(w.done) for check in engine._run.checks for w in check.watchers]
    held += [len(w.done) for w in engine._run.triggers]
    assert max(held) <= 2


def test_the_results_are_those_of_all_occurrences_sorted_at_the_end_also_where_stamps_step_back() -> None:
    """Each check as it was made from a list of all that its watchers decided."""
    engine = Engine(PLAN, ["box"], by_channel=True)
    for number, back_ns in enumerate((0, 0, 3_000 * MS, 3_000 * MS, 4_500 * MS)):
        for first in range(number * 10 * CYCLE, (number + 1) * 10 * CYCLE, 7):
            count = min(7, (number + 1) * 10 * CYCLE - first)
            engine.push("box", polls(first, count, back_ns=back_ns))
            engine.advance()
            for check in engine.checks_so_far():
                assert list(check.occurrences) == sorted(check.occurrences, key=order)
    found = engine.finish()
    assert found.segments == 3
    for plan, check in zip(PLAN.checks, found.checks, strict=True):
        again = result(plan, list(check.occurrences), check.start_not_seen, check.glitches, when_known=check.when_known)
        assert check == again
        assert len(set(map(id, check.occurrences))) == len(check.occurrences)
    lines = [line for line in found.log if line.kind != "trigger"]
    assert sum(len(check.occurrences) for check in found.checks) == len(lines)


class _Drawn(Watcher):
    """Has decided what it is given; of that `firm` will never look otherwise."""

    def __init__(self) -> None:
        super().__init__()
        self.firm = 0

    @property
    def final(self) -> int:
        return min(self.firm, len(self.done))

    def take(self, count: int) -> list[Occurrence]:
        self.firm -= count
        return super().take(count)


@settings(max_examples=100, deadline=None)
@given(seed=st.integers(0, 2**32), steps=st.integers(1, 30))
def test_in_whatever_order_it_is_decided_and_made_sure(seed: int, steps: int) -> None:
    """At any time it is what a stable sort of all that was decided gives, watcher after watcher."""
    draw = random.Random(seed)
    watchers, told = [_Drawn(), _Drawn()], ([], [])  # type: ignore[var-annotated]
    growing: Growing[Occurrence] = Growing()
    for upto in range(0, 4 * steps, 4):
        for watcher, all_of_it in zip(watchers, told, strict=True):
            for _ in range(draw.randrange(4)):
                one = Occurrence(draw.randrange(3), upto + draw.randrange(10), Outcome.PASSED)
                watcher.done.append(one)
                all_of_it.append(one)
            watcher.firm = draw.randint(watcher.firm, len(watcher.done))
        growing.add(settled(watchers, upto + 4))
        rest = sorted((o for w in watchers for o in w.done), key=order)
        expected = sorted([*told[0], *told[1]], key=order)
        assert [id(o) for o in growing.so_far(rest)] == [id(o) for o in expected]
    assert growing.version[0] == 0  # it was never sorted anew
