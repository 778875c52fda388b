"""How a source is doing, over several connections and from some time on."""

import pytest

from busprobe.health import Faults, FaultTally, Health


def lines(count: int, last: str = "x") -> Faults:
    return Faults("unreadable line", count, last, "Look at it.")


LATE = Faults("time-out", 2, "late", "Wait.")


@pytest.mark.parametrize(
    ("now", "before", "both"),
    [
        pytest.param(Health(errors=2, lost=1), Health(errors=3, lost=4), Health(errors=5, lost=5), id="counts"),
        pytest.param(
            Health(errors=2, faults=(lines(2, "new"),)),
            Health(errors=3, faults=(lines(3, "old"),)),
            Health(errors=5, faults=(lines(5, "new"),)),
            id="the newest text counts",
        ),
        pytest.param(
            Health(errors=2, faults=(LATE,)),
            Health(errors=1, faults=(lines(1),)),
            Health(errors=3, faults=(lines(1), LATE)),
            id="kinds of either",
        ),
        pytest.param(
            Health(state="a", listening="b", period_ns=1),
            Health(state="c", listening="d", period_ns=2),
            Health(state="a", listening="b", period_ns=1),
            id="all else is of now",
        ),
    ],
)
def test_connections_are_added(now: Health, before: Health, both: Health) -> None:
    assert now.counted_on(before) == both


@pytest.mark.parametrize(
    ("now", "start", "left"),
    [
        pytest.param(Health(errors=5, lost=2), Health(errors=3, lost=2), Health(errors=2), id="counts"),
        pytest.param(
            Health(errors=5, faults=(lines(3), LATE)),
            Health(errors=3, faults=(lines(3),)),
            Health(errors=2, faults=(LATE,)),
            id="a kind that came no more",
        ),
        pytest.param(
            Health(errors=3, faults=(lines(3),)), Health(errors=1, faults=(lines(1),)),
            Health(errors=2, faults=(lines(2),)), id="a kind that goes on",
        ),
    ],
)  # fmt: skip
def test_from_some_time_on(now: Health, start: Health, left: Health) -> None:
    assert now.since(start) == left


def test_faults_are_tallied_by_kind() -> None:
    tally = FaultTally()
    tally.note("time-out", "a", "A")
    tally.note("damaged answer", "b", "B")
    tally.note("time-out", "c", "C")
    assert tally.found == (Faults("time-out", 2, "c", "C"), Faults("damaged answer", 1, "b", "B"))
    assert tally.count == 3


def test_error_frames_counted_elsewhere_are_not_counted_twice() -> None:
    assert [Health(errors=3).at_least(n).errors for n in (2, 3, 4)] == [3, 3, 4]
