"""From when to when a sampled signal is known.

    samples   x  x  x  x            x  x
    known     ‾‾‾‾‾‾‾‾‾‾‾‾‾|________|‾‾‾‾     until older than `max_age`, up to the next sample
    channel   frames of other identifiers: the signal is lost
              silence for 2 s: the channel is asleep, and so is the signal

A signal without `max_age` (sent on change) holds until its channel sleeps. While a channel
sleeps, and after it woke for as long as a first sample may take, a signal is ASLEEP.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from busprobe.decode.silence import SLEEP_NS, ChannelPulse
from busprobe.frames import FloatArray, Int64Array, UInt8Array
from busprobe.timeline import ASLEEP, FOREVER, NEVER, TRUE, UNKNOWN, Changes, no_changes

LEAST_AGE_NS = 100_000_000
CYCLES = 3
"""A cyclic signal is unknown once this many cycles old."""
LEARNING = 20
"""Intervals from which a message's cycle time is learnt."""


@dataclass
class MaxAge:
    """How old a sample may get: given, from the database, or learnt from the message itself.

    ns: None where it holds as long as the channel is awake (on change, or still learning).
    from_ns: samples before this time do not age: it was still being learnt.
    """

    ns: int | None = None
    from_ns: int = NEVER
    is_fixed: bool = False
    is_cyclic: bool = False
    _seen: list[int] = field(default_factory=list)

    @staticmethod
    def of(given_ns: int | None, cycle_ns: int | None) -> MaxAge:
        if given_ns is not None:
            return MaxAge(given_ns, is_fixed=True, is_cyclic=cycle_ns is not None)
        if cycle_ns:
            return MaxAge(max(CYCLES * cycle_ns, LEAST_AGE_NS), is_fixed=True, is_cyclic=True)
        return MaxAge()

    def learn(self, times: Int64Array) -> None:
        """Take the message's new times."""
        if self.is_fixed or not len(times):
            return
        self._seen += times[: LEARNING + 1 - len(self._seen)].tolist()
        if len(self._seen) <= LEARNING:
            return
        self.ns, self.from_ns = learnt_age(np.array(self._seen, np.int64)), self._seen[-1]
        self.is_fixed, self.is_cyclic = True, self.ns is not None

    def is_cyclic_at(self, t_ns: int) -> bool:
        """Whether the message was known at a time to be sent periodically."""
        return self.is_cyclic and t_ns >= self.from_ns


def learnt_age(times: Int64Array) -> int | None:
    """3 x the median interval of a message's first frames; None where it is sent on change.

    times: (n,) rising, at least two. Regular is: longest interval at most twice the median.
    """
    intervals = np.diff(times)
    median = int(np.median(intervals))
    if intervals.max() > 2 * median:
        return None
    return max(CYCLES * median, LEAST_AGE_NS)


class Freshness:
    """One signal's samples to its timeline. `channel` None: a source that never sleeps."""

    def __init__(self, max_age: MaxAge, channel: ChannelPulse | None) -> None:
        self._max_age = max_age
        self._channel = channel
        self._state = ASLEEP
        self._holds = False
        """A sample's value holds; else the signal is lost or asleep, as the state says."""
        self._value = np.nan
        self._since = NEVER
        """Time of the newest sample."""
        self._age: int | None = None
        """How old that sample may get."""
        self._wake: int | None = None
        """ASLEEP: when the channel woke."""
        self._at = NEVER
        """Time alone has been taken into account up to here, this instant too."""

    @property
    def since_ns(self) -> int:
        """Time of the newest sample."""
        return self._since

    @property
    def value(self) -> float:
        """Value of the newest sample; NaN where it does not hold."""
        return self._value

    @property
    def limit_ns(self) -> int:
        """A next sample no later than this after the newest one just goes on; -1: `step` has to look at it."""
        usual = (
            self._holds and self._state == TRUE
            and self._max_age.is_fixed and self._age == self._max_age.ns
            and self._channel is not None and not self._channel.is_down and not self._channel.sleeps
        )  # fmt: skip
        if not usual:
            return -1
        return FOREVER if self._age is None else self._age

    def go_on(self, upto_ns: int, t_ns: int | None = None, value: float = np.nan) -> None:
        """Samples within `limit_ns` of each other and of `upto_ns` were taken: the last one's time and value."""
        if t_ns is not None:
            self._since, self._value = t_ns, value
        self._at = upto_ns - 1

    def step(self, t_ns: Int64Array, value: FloatArray, code: UInt8Array, upto_ns: int) -> Changes:
        """New samples, all before `upto_ns`, to changes; `max_age` and `channel` have taken theirs in.

        t_ns, value, code: (n,) rising times; code TRUE, or UNKNOWN for "not available".
        """
        pieces = _Pieces()
        first = 0
        for last in [*self._rests(t_ns), len(t_ns) - 1]:
            if last >= first:
                self._idle(pieces, int(t_ns[first]))
                self._run(pieces, t_ns[first : last + 1], value[first : last + 1], code[first : last + 1])
                self._age = None if self._since < self._max_age.from_ns else self._max_age.ns
            first = last + 1
        return pieces.changes(self._idle(pieces, upto_ns))

    def down(self, t_ns: int) -> Changes:
        """The source is down from `t_ns` on: unknown until the next sample."""
        pieces = _Pieces()
        if self._holds and self._age is not None and self._since + self._age + 1 < t_ns:
            pieces.point(self._since + self._age + 1, UNKNOWN, t_ns)
        self._state, self._holds, self._value, self._at = UNKNOWN, False, np.nan, t_ns
        pieces.point(t_ns, UNKNOWN)
        return pieces.changes(t_ns + 1)

    def _rests(self, t_ns: Int64Array) -> list[int]:
        """Indexes of samples that may have run out before the next one came."""
        shortest = min(SLEEP_NS, self._max_age.ns or SLEEP_NS)
        if len(t_ns) < 2 or t_ns[-1] - t_ns[0] <= shortest:
            return []
        gaps = np.diff(t_ns)
        out = gaps > (SLEEP_NS if self._channel is not None else FOREVER)
        if self._max_age.ns is not None:
            out |= (gaps > self._max_age.ns) & (t_ns[:-1] >= self._max_age.from_ns)
        indexes: list[int] = np.flatnonzero(out).tolist()
        return indexes

    def _run(self, pieces: _Pieces, t: Int64Array, value: FloatArray, code: UInt8Array) -> None:
        """Samples none of which ran out before the next."""
        keep = np.empty(len(t), np.bool_)
        keep[0] = self._state != code[0] or (code[0] == TRUE and self._value != value[0])
        keep[1:] = (code[1:] != code[:-1]) | ((value[1:] != value[:-1]) & (code[1:] == TRUE))
        if keep.any():
            pieces.add(t[keep], code[keep], value[keep])
        self._state, self._holds = int(code[-1]), True
        self._value, self._since = float(value[-1]), int(t[-1])
        self._at = self._since

    def _idle(self, pieces: _Pieces, end: int) -> int:
        """What time alone brings from the newest sample up to `end`; returns how far it is told."""
        while True:
            if self._holds:
                moment = self._runs_out(end)
            elif self._state == ASLEEP:
                moment = self._misses_first_sample(end)
            else:
                moment = self._falls_asleep(end)
            if moment is None:
                self._at = max(self._at, end - 1)
                return end
            t, code, settled = moment
            if settled is None:
                return t
            self._state, self._holds, self._value, self._at = code, False, np.nan, t
            pieces.point(t, code, settled)

    def _runs_out(self, end: int) -> tuple[int, int, int | None] | None:
        """A sample's value holds until it is too old or the channel sleeps."""
        sleep = None if self._channel is None else self._channel.next_sleep(self._at)
        over = FOREVER if self._age is None else self._since + self._age + 1
        if sleep is not None and sleep.told_ns < min(over, end):
            self._wake = sleep.wake_ns
            return sleep.told_ns, ASLEEP, NEVER
        if over >= end:
            return None
        if self._channel is None or self._channel.is_down:
            return over, UNKNOWN, NEVER
        silent_from, heard = self._channel.heard_before(over), self._channel.heard_from(over)
        sure = silent_from + SLEEP_NS
        if self._channel.upto_ns > sure if heard is None else heard > sure:
            self._wake = heard
            return over, ASLEEP, sure
        return over, UNKNOWN, heard

    def _misses_first_sample(self, end: int) -> tuple[int, int, int | None] | None:
        """Asleep, and excused for as long after the wake as a sample may take."""
        channel, age = self._channel, self._max_age
        if channel is None:
            return None
        if self._wake is None:
            self._wake = channel.wake_after(self._at)
        while self._wake is not None:
            over = FOREVER if age.ns is None else max(self._wake + age.ns + 1, age.from_ns)
            again = channel.next_sleep(self._wake)
            if again is None or again.told_ns > over:
                return (over, UNKNOWN, NEVER) if over < end else None
            self._wake = again.wake_ns
        return None

    def _falls_asleep(self, end: int) -> tuple[int, int, int | None] | None:
        """Lost, until the channel sleeps too."""
        sleep = None if self._channel is None else self._channel.next_sleep(self._at)
        if sleep is None or sleep.told_ns >= end:
            return None
        self._wake = sleep.wake_ns
        return sleep.told_ns, ASLEEP, NEVER


class _Pieces:
    """Stretches of change points, put together in their order."""

    def __init__(self) -> None:
        self._t: list[Int64Array] = []
        self._code: list[UInt8Array] = []
        self._value: list[FloatArray] = []
        self._barriers: dict[int, int] = {}
        """Time of a point that takes a look ahead -> when it can be told."""

    def add(self, t: Int64Array, code: UInt8Array, value: FloatArray) -> None:
        self._t.append(t)
        self._code.append(code)
        self._value.append(value)

    def point(self, t: int, code: int, settled: int = NEVER) -> None:
        self.add(np.array([t], np.int64), np.array([code], np.uint8), np.array([np.nan]))
        if settled > t:
            self._barriers[t] = settled

    def changes(self, upto_ns: int) -> Changes:
        if not self._t:
            return no_changes(upto_ns, quantity=True)
        t, code = np.concatenate(self._t), np.concatenate(self._code)
        settled = None
        if self._barriers:
            settled = np.full(len(t), NEVER, np.int64)
            settled[np.searchsorted(t, list(self._barriers))] = list(self._barriers.values())
        value = np.where(code == TRUE, np.concatenate(self._value), np.nan)
        return Changes(t, code, value, upto_ns, settled)
