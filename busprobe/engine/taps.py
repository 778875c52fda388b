"""The taps of a running engine: new frames, answers and polls to the timelines of signals."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from busprobe.checks.doubt import NO_DOUBT, Doubt, widest
from busprobe.checks.first_known import FirstKnown
from busprobe.checks.temporal import sample_points
from busprobe.decode.answers import Reading, Request
from busprobe.decode.freshness import Freshness, MaxAge
from busprobe.decode.lines import Burst, Debounce, thresholds
from busprobe.decode.messages import SignalSamples
from busprobe.decode.silence import ChannelPulse
from busprobe.engine.sample_times import SampleTimes, last_of_each_time
from busprobe.engine.signal_plan import LineTap, MessageTap, Source
from busprobe.engine.why import ADAPTER_DOWN, BOX_DOWN, CHATTERING, NOT_AGAIN, UNREADABLE, Out
from busprobe.frames import DAMAGED, BoolArray, FloatArray, Int64Array, UInt8Array
from busprobe.timeline import FOREVER, NO_TIMES, TRUE, UNKNOWN, Changes, Timeline

NO_VALUES: FloatArray = np.empty(0)


class SampledTap:
    """A signal of a message or of OBD answers: samples that age."""

    def __init__(self, source: Source, max_age: MaxAge, channel: ChannelPulse, *, polled: bool, stamps: Doubt):
        """polled: a sample is the answer to a request. stamps: how exact they are."""
        self.source = source
        self.max_age = max_age
        self.channel = channel
        self.timeline = Timeline(quantity=True)
        self.newest: Int64Array = NO_TIMES
        """Times of the samples taken in last."""
        self.told: Sequence[Reading | Request] = ()
        """OBD messages about its quantity that came last."""
        self.freshness = Freshness(max_age, channel)
        self._samples = SampleTimes()
        self._not_available: Int64Array = NO_TIMES
        """Changes to unknown that a sample made."""
        self.downs: list[Out] = []
        """When its adapter was down."""
        self._polled = polled
        self._stamps = stamps

    def take_message(self, samples: SignalSamples | None, upto_ns: int) -> None:
        """New samples of a message's signal; None: none came."""
        if samples is None:
            self.take(NO_TIMES, NO_VALUES, np.empty(0, np.uint8), upto_ns)
            return
        tap = self.source.tap
        assert isinstance(tap, MessageTap)
        t_ns, value, known, here = samples.t_ns, samples.value, samples.known(), samples.present
        if tap.unknown_raw:
            listed = ~np.isin(samples.raw, np.array(tap.unknown_raw, samples.raw.dtype))
            known = listed if known is None else known & listed
        code: UInt8Array = np.full(len(t_ns), TRUE, np.uint8)
        if known is not None:
            code[~known] = UNKNOWN
        if here is not None:
            t_ns, value, code = t_ns[here], value[here], code[here]
        if tap.layout.multiplexer:
            self.max_age.learn(t_ns)
        self.take(t_ns, value, code, upto_ns)

    def take(self, t_ns: Int64Array, value: FloatArray, code: UInt8Array, upto_ns: int) -> None:
        """t_ns, value, code: (n,) new samples in order; several of one time: the last one counts."""
        last = last_of_each_time(t_ns)
        if last is not None:
            t_ns, value, code = t_ns[last], value[last], code[last]
        self._samples.add(t_ns)
        self.newest = t_ns
        changes = self.freshness.step(t_ns, self._in_signal_terms(value), code, upto_ns)
        unknown = changes.t_ns[changes.code == UNKNOWN]
        if len(unknown):
            self._not_available = np.concatenate([self._not_available, unknown[np.isin(unknown, t_ns)]])
        self.timeline.extend(changes)

    def take_usual(self, t_ns: Int64Array, changes: Changes, value: float) -> None:
        """New samples that went on as usual (see `PlainTaps`): their times, what changed, the last one's value."""
        self._samples.add(t_ns)
        self.newest = t_ns
        if len(changes.t_ns):
            self.timeline.extend(changes)
        else:
            self.timeline.upto_ns = changes.upto_ns
        self.freshness.go_on(changes.upto_ns, int(t_ns[-1]), value)

    def take_nothing(self, upto_ns: int) -> None:
        """No sample came, and none was missed."""
        self.newest = NO_TIMES
        self.timeline.upto_ns = upto_ns
        self.freshness.go_on(upto_ns)

    def _in_signal_terms(self, value: FloatArray) -> FloatArray:
        """Unit and label codes of the signal instead of the tap's."""
        source = self.source
        if source.scale != 1.0 or source.offset != 0.0:
            value = value * source.scale + source.offset
        if source.recode is not None:
            code = source.recode
            value = np.array([code.get(v, v) for v in value.tolist()])
        return value

    def down(self, t_ns: int, note: str = "") -> None:
        self.downs.append(Out(t_ns, FOREVER, UNREADABLE if note == DAMAGED else ADAPTER_DOWN))
        self.timeline.extend(self.freshness.down(t_ns))

    def up(self, t_ns: int) -> None:
        """Its adapter is back; it stays unknown until a sample comes."""
        if self.downs and self.downs[-1].end_ns == FOREVER:
            self.downs[-1] = self.downs[-1]._replace(end_ns=t_ns)

    def doubt_at(self, t_ns: int) -> Doubt:
        if not self.timeline.changed_at(t_ns):
            return NO_DOUBT
        return self._stamps._replace(gap_ns=self._samples.gap_at(t_ns)) if self._polled else self._stamps

    def sampling_at(self, t_ns: int) -> int:
        return self._samples.gap_at(t_ns) if self._polled or self.max_age.is_cyclic_at(t_ns) else 0

    def why_unknown(self, t_ns: int) -> str:
        """Why it is unknown at a time: sent as such, its adapter gone, or not sent any more."""
        since = int(self.timeline.t_ns[self.timeline.index_at(t_ns)])
        if since in self._not_available:
            return "not available"
        down = next((one for one in self.downs if one.start_ns <= since < one.end_ns), None)
        return "lost" if down is None else down.why if t_ns < down.end_ns else NOT_AGAIN

    def forget(self, before_ns: int) -> None:
        self.timeline.forget(before_ns)
        self._samples.forget(before_ns)
        self._not_available = self._not_available[self._not_available >= self.timeline.t_ns[0]]
        self.downs = [one for one in self.downs if one.end_ns > self.timeline.t_ns[0]]


class WiredTap:
    """An input line of a box that is polled; stamps: how exact those of its polls are."""

    def __init__(self, source: Source, stamps: Doubt = NO_DOUBT) -> None:
        tap = source.tap
        assert isinstance(tap, LineTap)
        self.source = source
        self._stamps = stamps
        self.line = tap.line
        self.is_condition = tap.is_condition
        self.timeline = Timeline(quantity=not tap.is_condition)
        self.newest: Int64Array = NO_TIMES
        self._debounce = Debounce(tap.line.debounce_ns)
        self._fresh = Freshness(MaxAge(is_fixed=True), None)
        self._level: bool | None = None
        """Of an analogue line with limits: on which side of them it was last."""
        self._samples = SampleTimes()
        self._down: list[Out] = []
        """When the box was down, up to its next poll."""

    @property
    def glitches(self) -> int:
        return self._debounce.glitches

    @property
    def bursts(self) -> Sequence[Burst]:
        """Those that were over in what was taken last."""
        return self._debounce.bursts

    @property
    def transitions(self) -> Sequence[int]:
        """Times of all changes of level in what was taken last."""
        return self._debounce.transitions

    def take(self, t_ns: Int64Array, level: BoolArray | None, millivolts: Int64Array | None, upto_ns: int) -> None:
        """level, millivolts: (n,) of this line at each poll; one of them None, or both without polls.

        Several polls of one time: the last one counts.
        """
        last = last_of_each_time(t_ns)
        if last is not None:
            t_ns = t_ns[last]
            level = None if level is None else level[last]
            millivolts = None if millivolts is None else millivolts[last]
        self._samples.add(t_ns)
        self.newest = t_ns
        self._debounce.bursts, self._debounce.transitions = [], []
        if len(t_ns) and self._down and self._down[-1].end_ns == FOREVER:
            self._down[-1] = self._down[-1]._replace(end_ns=int(t_ns[0]))
        if not self.is_condition:
            volts = NO_VALUES if millivolts is None else millivolts / 1000.0 * self.source.scale + self.source.offset
            code: UInt8Array = np.full(len(t_ns), TRUE, np.uint8)
            self.timeline.extend(self._fresh.step(t_ns, volts, code, upto_ns))
            return
        if millivolts is not None and self.line.above_mv is not None:
            below = self.line.above_mv if self.line.below_again_mv is None else self.line.below_again_mv
            rows, level = thresholds(millivolts, self.line.above_mv, below, self._level)
            t_ns = t_ns[rows]
            self._level = bool(level[-1]) if len(level) else self._level
        if level is None:
            level = np.empty(0, np.bool_)
        if self.line.active_low:
            level = ~level
        self.timeline.extend(self._debounce.step(t_ns, level, upto_ns))

    def down(self, t_ns: int, note: str = "") -> None:
        self._level = None
        changes = self._debounce.down(t_ns) if self.is_condition else self._fresh.down(t_ns)
        # A burst that was not over yet is unknown from its beginning.
        self._down.append(Out(int(changes.t_ns[0]), FOREVER, UNREADABLE if note == DAMAGED else BOX_DOWN))
        self.timeline.extend(changes)

    def doubt_at(self, t_ns: int) -> Doubt:
        if not self.timeline.changed_at(t_ns):
            return NO_DOUBT
        return self._stamps._replace(gap_ns=self._samples.gap_at(t_ns))

    def sampling_at(self, t_ns: int) -> int:
        return self._samples.gap_at(t_ns)

    def why_unknown(self, t_ns: int) -> str:
        """Why it is unknown at a time: only a box that is down, or chattering, makes a line so."""
        since = int(self.timeline.t_ns[self.timeline.index_at(t_ns)])
        return next((one.why for one in self._down if one.start_ns <= since < one.end_ns), CHATTERING)

    def forget(self, before_ns: int) -> None:
        self.timeline.forget(before_ns)
        self._samples.forget(before_ns)
        self._down = [one for one in self._down if one.end_ns > self.timeline.t_ns[0]]


AnyTap = SampledTap | WiredTap


class SignalLeaf:
    """A signal of the bench file in the network: its tap, or the first known of several."""

    def __init__(self, taps: Sequence[AnyTap], *, wants_samples: bool) -> None:
        self.taps = taps
        self.samples = Timeline() if wants_samples else None
        self._first_known = FirstKnown(len(taps)) if len(taps) > 1 else None
        self.timeline = taps[0].timeline if self._first_known is None else Timeline(quantity=True)

    def advance(self, upto_ns: int) -> None:
        """Take in what the taps have learnt; all samples before `upto_ns` have come."""
        upto = min(tap.timeline.upto_ns for tap in self.taps)
        if self._first_known is not None and upto > self.timeline.upto_ns:
            parts = [as_quantity(tap.timeline.between(self.timeline.upto_ns, upto)) for tap in self.taps]
            self.timeline.extend(self._first_known.step(parts, upto))
        if self.samples is not None:
            times = np.unique(np.concatenate([tap.newest for tap in self.taps]))
            self.samples.extend(sample_points(times, upto_ns))

    def doubt_at(self, t_ns: int) -> Doubt:
        return widest(tap.doubt_at(t_ns) for tap in self.taps)

    def sampling_at(self, t_ns: int) -> int:
        if len(self.taps) == 1:
            return self.taps[0].sampling_at(t_ns)
        return max(tap.sampling_at(t_ns) for tap in self.taps)

    def why_unknown(self, t_ns: int) -> str:
        """Why it is unknown at a time: what its first tap says that is, and not merely asleep."""
        lost = (tap for tap in self.taps if tap.timeline.code_at(t_ns) == UNKNOWN)
        return next(lost, self.taps[0]).why_unknown(t_ns)

    def forget(self, before_ns: int) -> None:
        for tap in self.taps:
            tap.forget(before_ns)


def as_quantity(part: Changes) -> Changes:
    """A condition as a quantity of 0 and 1."""
    if part.value is not None:
        return part
    known = part.code <= TRUE
    code = np.where(known, TRUE, part.code).astype(np.uint8)
    value = np.where(known, part.code.astype(np.float64), np.nan)
    return Changes(part.t_ns, code, value, part.upto_ns, part.settled, part.quiet)


def levels(mask: np.ndarray[tuple[int], np.dtype[np.uint64]], number: int) -> BoolArray:
    """(n,) level of one line in the masks of many polls."""
    return (mask >> np.uint64(number) & np.uint64(1)).astype(np.bool_)
