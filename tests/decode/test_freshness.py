"""From samples to what is known: each case a literal timeline, however the data are cut.

The rules are the project's own; DEVELOPERS.md states them in words ("Known", "Sleep").
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest
from cutting import MS, Told, entries, evenly, instants, ns, times, told_at
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.decode.freshness import Freshness, MaxAge
from busprobe.decode.silence import ChannelPulse
from busprobe.timeline import TRUE, UNKNOWN


class Drive(NamedTuple):
    """What happens on one channel, times in ns."""

    samples: list[tuple[int, str]]
    """Each in a frame of its own."""
    others: list[int]
    """Frames with other identifiers."""
    states: list[tuple[int, str]]
    """"down" or "up" of the adapter."""
    end: int
    """Time of the last data; everything up to it, this instant too, is seen."""
    given_ns: int | None = None
    cycle_ns: int | None = None

    def marks(self) -> list[int]:
        return [t for t, _ in self.samples] + self.others + [t for t, _ in self.states]


def run(drive: Drive, cuts: Sequence[int]) -> list[str]:
    """The timeline's points; the data come in pieces up to each of `cuts`, and to the end."""
    channel = ChannelPulse()
    age = MaxAge.of(drive.given_ns, drive.cycle_ns)
    fresh = Freshness(age, channel)
    told = Told(quantity=True)
    heard = np.array(sorted(drive.others + [t for t, _ in drive.samples]), np.int64)
    t_ns = np.array([t for t, _ in drive.samples], np.int64)
    value = np.array([np.nan if v == "?" else float(v) for _, v in drive.samples])
    code = np.where(np.isnan(value), UNKNOWN, TRUE).astype(np.uint8)
    states = [(t, state) for t, state in drive.states if t <= drive.end]
    steps = [(t, "") for t in cuts] + states + [(drive.end + 1, "")]
    reached = 0
    for upto, state in sorted(steps, key=lambda s: s[0]):
        if upto > reached:
            channel.advance(heard[(heard >= reached) & (heard < upto)], upto)
            rows = (t_ns >= reached) & (t_ns < upto)
            age.learn(t_ns[rows])
            told.extend(fresh.step(t_ns[rows], value[rows], code[rows], upto), upto)
            reached = upto
        if state == "down":
            channel.down()
            told.extend(fresh.down(upto), upto + 1)
        elif state == "up":
            channel.up(upto)
    return told.points()


class Case(NamedTuple):
    id: str
    points: str
    drive: Drive


def case(
    id_: str,
    points: str,
    end: int,
    *,
    samples: str = "",
    others: str = "",
    max_age: float | None = None,
    cycle: int | None = None,
    states: str = "",
) -> Case:
    """All times in ms."""
    drive = Drive(
        entries(samples), times(others), entries(states), end * MS,
        None if max_age is None else round(max_age * MS), None if cycle is None else cycle * MS,
    )  # fmt: skip
    return Case(id_, points, drive)


def row(*intervals: float) -> str:
    """Samples of a value 1, the first at 0, these intervals (ms) apart."""
    out, t = [], 0.0
    for interval in (0.0, *intervals):
        t += interval
        out.append(f"{t:.10g} 1")
    return ", ".join(out)


ON = evenly(0, 100, 9000)
"""The other frames of a channel that is never silent."""

CASES = [
    # How long a sample counts.
    case("no news is no change", "0 5, 300 6", 800, samples="0 5, 100 5, 200 5, 300 6, 400 6", others=ON, max_age=500),
    case("exactly max_age old: still known", "0 5, 300 6", 500, samples="0 5, 300 6", others=ON, max_age=300),
    case("older than that: lost until the next", "0 5, 300.000001 ? @400, 700 6", 900, samples="0 5, 700 6",
         others=ON, max_age=300),
    case("lost for good", "0 5, 300.000001 ? @400", 1900, samples="0 5", others=ON, max_age=300),
    case("another frame at that very instant tells it", "0 5, 300.000001 ?", 900, samples="0 5",
         others="0 300.000001 600", max_age=300),
    case("not available is unknown", "0 5, 100 ?, 200 7", 300, samples="0 5, 100 ?, 200 7", others=ON, max_age=300),
    case("the same value after not available", "0 5, 100 ?, 200 5", 300, samples="0 5, 100 ?, 200 5", others=ON,
         max_age=300),
    case("not available at first", "0 ?, 200 5", 300, samples="0 ?, 100 ?, 200 5", others=ON, max_age=300),
    # Where max_age comes from.
    case("3 x the database's cycle", "0 5, 150.000001 ? @200", 400, samples="0 5", others=ON, cycle=50),
    case("3 x a short cycle is at least 100 ms", "0 5, 100.000001 ? @200", 400, samples="0 5", others=ON, cycle=10),
    case("the bench file's outweighs the cycle", "0 5, 700.000001 ? @800", 1000, samples="0 5", others=ON, cycle=10,
         max_age=700),
    case("learnt from 20 intervals: 3 x the median", "0 1, 2300.000001 ? @2400", 3000, samples=row(*[100] * 20),
         others=ON),
    case("19 intervals teach nothing", "0 1", 9000, samples=row(*[100] * 19), others=ON),
    case("what comes later teaches nothing more", "0 1, 2300.000001 ? @2400, 2900 1, 3200.000001 ? @3300", 3500,
         samples=row(*[100] * 20, 900), others=ON),
    case("learnt, at least 100 ms", "0 1, 300.000001 ? @400", 900, samples=row(*[10] * 20), others=ON),
    case("3 x the median, not the mean", "0 1, 2610.000001 ? @2700", 4000, samples=row(*[100] * 10, *[120] * 9, 200),
         others=ON),
    case("one interval of twice the median is regular", "0 1, 2400.000001 ? @2500", 4000,
         samples=row(*[100] * 19, 200), others=ON),
    case("longer than twice the median: on change", "0 1", 9000, samples=row(*[100] * 19, 200.000001), others=ON),
    case("a gap while learning is no loss", "0 1", 9000, samples=row(*[100] * 10, 2500, *[100] * 9), others=ON),
    # Sleep: told 2 s after the last frame.
    case("on change: holds until the channel sleeps", "0 5, 2000.000001 z", 5000, samples="0 5"),
    case("on change: others keep it awake", "0 5, 5000.000001 z", 6000, samples="0 5", others="1500 3000"),
    case("exactly 2 s of silence is no sleep", "0 5", 2000, samples="0 5", others="2000"),
    case("1 ns more is", "0 5, 2000.000001 z", 2001, samples="0 5", others="2000.000001"),
    case("a frame as sleep is told keeps no sleep back", "0 5, 2000.000001 6", 2001, samples="0 5, 2000.000001 6"),
    case("ran out during the silence: asleep from there", "0 5, 300.000001 z @2000", 5000, samples="0 5", max_age=300),
    case("silence of less than 2 s: lost after all", "0 5, 300.000001 ? @1999", 2500, samples="0 5", others="1999",
         max_age=300),
    case("silence of 2 s exactly: lost after all", "0 5, 300.000001 ? @2000", 2500, samples="0 5", others="2000",
         max_age=300),
    case("lost first, asleep later", "0 5, 300.000001 ? @400, 3000.000001 z", 5000, samples="0 5",
         others=evenly(0, 100, 1000), max_age=300),
    case("max_age longer than the silence", "0 5, 2000.000001 z", 5000, samples="0 5", max_age=3000),
    case("runs out just as sleep is told", "0 5, 2000.000001 z", 5000, samples="0 5", max_age=2000),
    case("runs out just before", "0 5, 2000 z", 5000, samples="0 5", max_age=1999.999999),
    # The wake.
    case("known again with its first sample", "0 5, 300.000001 z @2000, 6000 6", 6200, samples="0 5, 6000 6",
         max_age=300),
    case("the same value again", "0 5, 2000.000001 z, 6000 5", 6200, samples="0 5, 6000 5"),
    case("asleep between the wake and its first sample", "0 5, 300.000001 z @2000, 6000 6", 6200,
         samples="0 5, 6000 6", others="5800 5900", max_age=300),
    case("woken without it: unknown after max_age", "0 5, 300.000001 z @2000, 5300.000001 ?", 6000, samples="0 5",
         others=evenly(5000, 100, 6000), max_age=300),
    case("its sample just in time", "0 5, 300.000001 z @2000, 5300 6", 5500, samples="0 5, 5300 6",
         others=evenly(5000, 100, 6000), max_age=300),
    case("its sample 1 ns late", "0 5, 300.000001 z @2000, 5300.000001 6", 5500, samples="0 5, 5300.000001 6",
         others=evenly(5000, 100, 6000), max_age=300),
    case("unknown, then its sample", "0 5, 300.000001 z @2000, 5300.000001 ?, 5800 6", 6000, samples="0 5, 5800 6",
         others=evenly(5000, 100, 6000), max_age=300),
    case("on change: asleep until its sample", "0 5, 2000.000001 z, 8000 6", 9000, samples="0 5, 8000 6",
         others=evenly(5000, 100, 9000)),
    case("asleep again before max_age: still excused", "0 5, 2000.000001 z", 20000, samples="0 5", others="4000 9000",
         max_age=4000),
    case("the last wake counts", "0 5, 2000.000001 z, 13000.000001 ?", 14000, samples="0 5",
         others="4000 9000 10500 12000 13500", max_age=4000),
    case("unknown after the wake, then asleep", "0 5, 300.000001 z @2000, 5300.000001 ?, 7400.000001 z", 9000,
         samples="0 5", others="5000 5400", max_age=300),
    # Never seen.
    case("nothing heard at all", "", 9000, max_age=300),
    case("others are heard, never this one", "1300.000001 ?", 2000, others=evenly(1000, 100, 2000), max_age=300),
    case("others are heard, this one late", "1300.000001 ?, 1700 5", 1900, samples="1700 5",
         others=evenly(1000, 100, 2000), max_age=300),
    case("never seen, on change", "", 9000, others=ON),
    case("never seen, and the channel sleeps", "1300.000001 ?, 3500.000001 z", 9000, others="1000 1500", max_age=300),
    case("first seen late, max_age still to be learnt", "5000 1, 7300.000001 ? @7400", 8000,
         samples=", ".join(f"{5000 + 100 * i} 1" for i in range(21)), others=ON),
    # The adapter: down is unknown until the next sample.
    case("down and up", "0 5, 500 ?, 800 5", 1000, samples="0 5, 100 5, 800 5", others=evenly(0, 100, 400),
         max_age=900, states="500 down, 700 up"),
    case("a sample at the instant it goes down", "0 5, 500 6", 600, samples="0 5, 500 6", max_age=900,
         states="500 down, 500 up"),
    case("down while it had run out in silence: lost", "0 5, 300.000001 ? @1000, 1000 ?", 1500, samples="0 5",
         max_age=300, states="1000 down"),
    case("down is no sleep", "0 5, 1000 ?", 9000, samples="0 5", states="1000 down"),
    case("on change, down and up: unknown until its next", "0 5, 1000 ?, 2500 6", 4000, samples="0 5, 2500 6",
         others="2100 2300", states="1000 down, 2000 up"),
    case("silence counts from the instant it is up", "0 5, 1000 ?, 5000.000001 z", 9000, samples="0 5",
         states="1000 down, 3000 up"),
    case("down while asleep", "0 5, 2000.000001 z, 3000 ?, 5000 6", 6000, samples="0 5, 5000 6",
         states="3000 down, 4000 up"),
    case("down while asleep, then asleep again", "0 5, 2000.000001 z, 3000 ?, 4500 6, 6500.000001 z", 9000,
         samples="0 5, 4500 6", states="3000 down, 4000 up"),
    case("up before the first frame is no wake", "", 1000, max_age=300, states="0 up"),
    case("up long before the first frame", "5300.000001 ?", 6000, others=evenly(5000, 100, 6000), max_age=300,
         states="0 up"),
    case("never up", "0 ?", 9000, max_age=300, states="0 down"),
]  # fmt: skip


def _expected(row: Case) -> list[str]:
    return [p.strip() for p in row.points.split(",") if p.strip()]


@pytest.mark.parametrize("row", CASES, ids=lambda row: row.id)
def test_case(row: Case) -> None:
    """The timeline is that of the table, whole and cut at every instant, one by one and all at once."""
    expected = _expected(row)
    assert run(row.drive, []) == expected
    cuts = instants(row.drive.marks(), expected, row.drive.end)
    assert run(row.drive, cuts) == expected
    for cut in cuts:
        assert run(row.drive, [cut]) == expected


@pytest.mark.parametrize("row", CASES, ids=lambda row: row.id)
def test_every_point_is_told_at_its_time(row: Case) -> None:
    """Data that end 1 ns after a point could be told bring it; data that end at that time do not."""
    for point in _expected(row):
        told = told_at(point)
        assert point in run(row.drive._replace(end=told), [])
        if told > 0:
            assert point not in run(row.drive._replace(end=told - 1), [])


def test_there_is_no_case_twice() -> None:
    assert len({row.id for row in CASES}) == len(CASES)


# Drawn at random.

SLOTS = st.integers(0, 60)
"""Times in steps of 100 ms, so that ages and silences meet their limits exactly now and then."""


@st.composite
def drives(draw: st.DrawFn, *, states: bool = True, given: bool = False) -> Drive:
    step = 100 * MS
    at = draw(st.sets(SLOTS, max_size=30))
    samples = [(t * step, draw(st.sampled_from("5567?"))) for t in sorted(at)]
    others = sorted(t * step + draw(st.sampled_from([0, 0, 0, 1])) for t in draw(st.sets(SLOTS, max_size=12)))
    turns = sorted(draw(st.sets(SLOTS, max_size=4))) if states else []
    states_ = [(t * step, ("down", "up")[i % 2]) for i, t in enumerate(turns)]
    age = draw(st.sampled_from([100, 200, 300, 1900, 2000, 2100, 4000]))
    if not given and draw(st.booleans()):
        return Drive(samples, others, states_, 65 * step)
    return Drive(samples, others, states_, 65 * step, age * MS)


@settings(max_examples=250, deadline=None, derandomize=True)
@given(drives(), st.lists(st.integers(0, 6_500), max_size=8), st.sampled_from([0, 1]))
def test_any_cuts_equal_whole(drive: Drive, cuts_ms: list[int], odd: int) -> None:
    cuts = [t * MS + odd for t in cuts_ms]
    assert run(drive, cuts) == run(drive, [])


def plain(drive: Drive, t: int) -> str:
    """What is known at a time, looked up in the drive as the rules say it; `max_age` is given."""
    sleep_ns, age = 2000 * MS, drive.given_ns
    assert age is not None
    heard = sorted(drive.others + [at for at, _ in drive.samples])
    silences = [*pairwise(heard), *((h, 10**15) for h in heard[-1:])]
    asleep = [(last + sleep_ns + 1, wake) for last, wake in silences if wake - last > sleep_ns]
    if not heard or t < heard[0] or any(told <= t < wake for told, wake in asleep):
        return "z"
    wake = max([heard[0], *(wake for _, wake in asleep if wake <= t)])
    taken = [(at, v) for at, v in drive.samples if wake <= at <= t]
    if not taken:
        return "z" if t - wake <= age else "?"
    at, value = taken[-1]
    over = at + age + 1
    if t < over:
        return value
    last = max(h for h in heard if h < over)
    following = min((h for h in heard if h >= over), default=10**15)
    return "z" if following - last > sleep_ns else "?"


@settings(max_examples=250, deadline=None, derandomize=True)
@given(drives(states=False, given=True))
def test_as_looked_up_at_every_instant(drive: Drive) -> None:
    """The timeline says at every instant what the rules say there."""
    points = run(drive, [])
    reached = drive.end - 3000 * MS
    for t in instants(drive.marks(), points, reached):
        said = [p.split()[1] for p in points if ns(p.split()[0]) <= t]
        assert (said[-1] if said else "z") == plain(drive, t), t
