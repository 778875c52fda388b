"""What the log would get if the data ended now, of an engine that goes on."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from test_engine_any_cut import PLAN, cut_at, drive, whole

from busprobe.engine.engine import Engine
from busprobe.engine.history import History


@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 2**32), length=st.integers(1000, 6000), size=st.integers(20, 200))
def test_it_is_what_an_engine_says_that_ends_there(seed: int, length: int, size: int) -> None:
    """... and the one that goes on says in the end what it would have said without being asked."""
    data, end_ns = drive(seed, length), (length + 100) * 1_000_000
    dealt = [(name, piece) for name, batch in data.items() for piece in cut_at(batch, [size], end_ns)]
    dealt.sort(key=lambda pair: pair[1].complete_to or 0)
    histories = {name: History(s.type.is_condition) for name, s in PLAN.signals.items()}
    asked = Engine(PLAN, list(data), by_channel=True, histories=histories)
    for count, (name, batch) in enumerate(dealt, 1):
        asked.push(name, batch)
        asked.advance()
        if count % 3 == 0:
            ends_here = Engine(PLAN, list(data), by_channel=True)
            for other, earlier in dealt[:count]:
                ends_here.push(other, earlier)
            reached = {name: history.upto_ns for name, history in histories.items()}
            rest = asked.rest_if_ended()
            assert {name: history.upto_ns for name, history in histories.items()} == reached
            log = ends_here.finish().log
            assert log[len(log) - len(rest) :] == rest
            assert len(log) == asked.log_length + len(rest)
    assert asked.finish() == whole(data, length + 100)
