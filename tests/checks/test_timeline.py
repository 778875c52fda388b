"""Timelines of one signal: what holds when, what can be told when, what is forgotten."""

from __future__ import annotations

import numpy as np
import pytest

from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN, Changes, Timeline, from_points, no_changes


def changes(
    *points: tuple[int, int], upto: int, settled: list[int] | None = None, quiet: list[int] | None = None
) -> Changes:
    return Changes(
        np.array([t for t, _ in points], np.int64),
        np.array([code for _, code in points], np.uint8),
        None,
        upto,
        None if settled is None else np.array(settled, np.int64),
        np.array(quiet or [], np.int64),
    )


def of_values(*points: tuple[int, float], upto: int) -> Changes:
    times = np.array([t for t, _ in points], np.int64)
    return Changes(times, np.full(len(points), TRUE, np.uint8), np.array([v for _, v in points]), upto)


def points(part: Changes) -> list[tuple[int, int]]:
    return list(zip(part.t_ns.tolist(), part.code.tolist(), strict=True))


def test_a_new_timeline_is_asleep_and_says_nothing() -> None:
    line = Timeline()
    assert (line.code_at(0), line.value_at(5), line.upto_ns) == (ASLEEP, ASLEEP, NEVER)
    assert np.isnan(Timeline(quantity=True).value_at(0))
    assert Timeline().value is None


def test_what_holds_from_a_point_to_the_next() -> None:
    line = Timeline()
    line.extend(changes((10, TRUE), (40, FALSE), upto=50))
    line.extend(changes((70, UNKNOWN), upto=80))
    assert [line.code_at(t) for t in (9, 10, 39, 40, 69, 70, 500)] == [
        ASLEEP,
        TRUE,
        TRUE,
        FALSE,
        FALSE,
        UNKNOWN,
        UNKNOWN,
    ]
    assert line.upto_ns == 80
    assert [line.changed_at(t) for t in (9, 10, 11)] == [False, True, False]
    assert [line.value_at(t) for t in (10, 70)] == [1.0, 2.0]


def test_values_of_a_quantity() -> None:
    line = Timeline(quantity=True)
    line.extend(of_values((10, 1.5), (20, -3.0), upto=30))
    assert [line.value_at(t) for t in (10, 19, 20)] == [1.5, 1.5, -3.0]
    part = line.between(10, 20)
    assert part.value is not None
    assert part.value.tolist() == [1.5]


def test_between_takes_its_start_and_not_its_end() -> None:
    line = Timeline()
    line.extend(changes((10, TRUE), (20, FALSE), (30, TRUE), upto=40, quiet=[10, 20, 30]))
    part = line.between(10, 30)
    assert points(part) == [(10, TRUE), (20, FALSE)]
    assert part.upto_ns == 30
    assert part.quiet.tolist() == [10, 20]
    assert points(line.between(11, 20)) == []
    assert len(line.between(11, 20)) == 0


def test_a_point_at_the_same_time_replaces_the_last() -> None:
    line = Timeline()
    line.extend(changes((NEVER, FALSE), (10, TRUE), upto=11, settled=[NEVER, 15]))
    line.extend(changes((10, UNKNOWN), (20, TRUE), upto=30))
    assert points(line.between(NEVER, 30)) == [(NEVER, FALSE), (10, UNKNOWN), (20, TRUE)]
    assert line.settled is not None
    assert line.settled.tolist() == [NEVER, NEVER, NEVER]


def test_nothing_new_but_the_time_reached() -> None:
    line = Timeline()
    line.extend(changes((10, TRUE), upto=20))
    line.extend(no_changes(90))
    assert (line.upto_ns, line.code_at(80), len(line.t_ns)) == (90, TRUE, 2)


def test_told_at_once_or_later() -> None:
    line = Timeline()
    line.extend(changes((10, TRUE), upto=20))
    assert line.settled_at(15) == 15
    line.extend(changes((20, FALSE), (40, TRUE), upto=50, settled=[35, NEVER]))
    assert [line.settled_at(t) for t in (15, 20, 30, 36, 40, 60)] == [15, 35, 35, 36, 40, 60]
    line.extend(changes((60, FALSE), upto=70))
    assert [line.settled_at(t) for t in (20, 65)] == [35, 65]
    assert line.settled is not None
    assert line.settled.tolist() == [NEVER, NEVER, 35, NEVER, NEVER]
    part = line.between(20, 41)
    assert part.settled is not None
    assert part.settled.tolist() == [35, NEVER]


def test_forget_keeps_what_holds() -> None:
    line = Timeline(quantity=True)
    line.extend(of_values((10, 1.0), (20, 2.0), (30, 3.0), upto=40))
    line.forget(25)
    assert line.t_ns.tolist() == [20, 30]
    assert line.value is not None
    assert (line.value.tolist(), line.value_at(25), len(line.code)) == ([2.0, 3.0], 2.0, 2)
    line.forget(20)
    assert line.t_ns.tolist() == [20, 30]
    assert line.t_ns.base is None
    assert (line.value_at(5), line.value_at(35)) == (2.0, 3.0)  # before all that is kept: the oldest


def test_forget_drops_what_is_told_and_quiet() -> None:
    line = Timeline()
    line.extend(changes((10, TRUE), (20, FALSE), (30, TRUE), upto=40, settled=[15, 35, NEVER], quiet=[10, 20, 30]))
    line.forget(20)
    assert line.settled is not None
    assert (line.settled.tolist(), line.quiet.tolist()) == ([35, NEVER], [20, 30])
    line.forget(30)
    assert (line.settled, line.quiet.tolist()) == (None, [30])


@pytest.mark.parametrize(
    ("given", "settled"),
    [
        ([(10, TRUE, NEVER), (20, FALSE, NEVER)], None),
        ([(10, TRUE, 10), (20, FALSE, 20)], None),
        ([(10, TRUE, 11), (20, FALSE, NEVER)], [11, NEVER]),
    ],
    ids=["at once", "at the very time", "later"],
)
def test_from_points(given: list[tuple[int, int, int]], settled: list[int] | None) -> None:
    made = from_points(given, 50)
    assert points(made) == [(10, TRUE), (20, FALSE)]
    assert (made.upto_ns, made.value, len(made)) == (50, None, 2)
    assert (None if made.settled is None else made.settled.tolist()) == settled


def test_no_points_and_no_changes() -> None:
    assert (len(from_points([], 7)), from_points([], 7).upto_ns, no_changes(7).value) == (0, 7, None)
    empty = no_changes(7, quantity=True).value
    assert empty is not None
    assert len(empty) == 0
