"""From frames and polls to the timelines of signals: everything before the operators.

frames ──> router ──> samples ──┐
answers ──────────────────────> taps ──> leaves
polls ────────────────────────> ┘
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from busprobe.checks.doubt import NO_DOUBT, Doubt
from busprobe.decode import pids
from busprobe.decode.freshness import MaxAge
from busprobe.decode.layout import MessageLayout
from busprobe.decode.messages import SignalSamples, decode_rows
from busprobe.decode.obd import Listener, Reading, Request
from busprobe.decode.routing import Router
from busprobe.decode.services import CURRENT_DATA
from busprobe.decode.silence import ChannelPulse, Sleep, shows_awake
from busprobe.engine.plain import PlainTaps
from busprobe.engine.plan import Plan
from busprobe.engine.signal_plan import MessageTap, ObdTap, Source
from busprobe.engine.taps import AnyTap, SampledTap, SignalLeaf, WiredTap, levels
from busprobe.frames import BoolArray, Condition, FrameBatch, InputBatch, Int64Array, SourceState
from busprobe.results import LogLine
from busprobe.timeline import NO_TIMES, TRUE, UNKNOWN

_MessageKey = tuple[str, int, bool]
"""Bus, identifier, whether it is extended."""


class Intake:
    """The taps of all signals of a plan. uncertainty_ns: by bus and box, how exactly its records are stamped."""

    def __init__(self, plan: Plan, uncertainty_ns: Mapping[str, int]) -> None:
        self.pulses: dict[str, ChannelPulse] = defaultdict(ChannelPulse)
        """By bus, when it was heard."""
        self.log: list[LogLine] = []
        """Sleeps and wakes of the buses."""
        self._upto_ns: int | None = None
        self._ages: dict[_MessageKey, MaxAge] = {}
        self._listener = Listener()
        self._message_taps: dict[_MessageKey, list[SampledTap]] = defaultdict(list)
        self._obd_taps: dict[tuple[str, str], list[SampledTap]] = defaultdict(list)
        self._obd_pids: dict[str, int] = {}
        """PID of each quantity tapped."""
        self._wired: dict[str, list[WiredTap]] = defaultdict(list)
        self._uncertainty = uncertainty_ns
        self.leaves = {
            name: SignalLeaf([self._tap(s) for s in signal.sources], wants_samples=name in plan.aged)
            for name, signal in plan.signals.items()
        }
        """By signal."""
        entries = {key: taps[0].source.tap for key, taps in self._message_taps.items()}
        self._keys = list(entries)
        self._plain = PlainTaps(dict(enumerate(self._message_taps.values())))
        self._router = Router([(key[0], tap.message) for key, tap in entries.items() if isinstance(tap, MessageTap)])
        self._messages = {key: _by_message(taps) for key, taps in self._message_taps.items()}

    @property
    def unchanging(self) -> tuple[object, ...]:
        """What was worked out once from the plan."""
        return self._router, self._messages

    def advance(self, frames: FrameBatch, polls: Mapping[str, InputBatch], upto_ns: int) -> None:
        """Take in all that lies before a time and was not given yet."""
        self._take_pulses(frames, upto_ns)
        self._take_messages(frames, upto_ns)
        self._take_answers(frames, upto_ns)
        for box, taps in self._wired.items():
            self._take_polls(taps, polls.get(box), upto_ns)
        for leaf in self.leaves.values():
            leaf.advance(upto_ns)
        self._upto_ns = upto_ns

    def state(self, row: SourceState) -> None:
        """A source went up or down; all data before that time have been taken in."""
        wired = self._wired.get(row.source, [])
        sampled = [
            tap
            for taps in (*self._message_taps.values(), *self._obd_taps.values())
            for tap in taps
            if _bus_of(tap) == row.source
        ]
        if row.condition is Condition.DOWN:
            going: list[AnyTap] = [*wired, *sampled]
            for tap in going:
                tap.down(row.t_ns, row.note)
            if sampled:
                self.pulses[row.source].down()
        elif sampled:
            for tap in sampled:
                tap.up(row.t_ns)
            self.pulses[row.source].up(row.t_ns)

    def forget(self, before_ns: int) -> None:
        """Drop what lies before a time, but for what holds there."""
        for leaf in self.leaves.values():
            leaf.forget(before_ns)

    def glitches(self, names: Sequence[str]) -> int:
        """Pulses on these signals' input lines that the debounce took out."""
        taps = [tap for name in names if name in self.leaves for tap in self.leaves[name].taps]
        return sum(tap.glitches for tap in taps if isinstance(tap, WiredTap))

    # Inside.

    def _tap(self, source: Source) -> AnyTap:
        tap = source.tap
        if isinstance(tap, MessageTap):
            key = (tap.bus, tap.message.identifier, tap.message.is_extended)
            cycle = tap.message.cycle_time_ns
            if tap.max_age_ns is not None:
                age = MaxAge.of(tap.max_age_ns, cycle)
            elif tap.layout.multiplexer:
                age = MaxAge()
            else:
                age = self._ages.setdefault(key, MaxAge.of(None, cycle))
            sampled = SampledTap(source, age, self.pulses[tap.bus], polled=False, stamps=self._stamps(tap.bus))
            self._message_taps[key].append(sampled)
            return sampled
        if isinstance(tap, ObdTap):
            age = MaxAge.of(tap.max_age_ns, None)
            sampled = SampledTap(source, age, self.pulses[tap.bus], polled=True, stamps=NO_DOUBT)
            self._obd_taps[tap.bus, tap.name].append(sampled)
            quantity = pids.find(tap.name)
            assert quantity is not None
            self._obd_pids[tap.name] = quantity.pid
            return sampled
        wired = WiredTap(source, self._stamps(tap.box.name))
        self._wired[tap.box.name].append(wired)
        return wired

    def _stamps(self, source: str) -> Doubt:
        """How exact those of a bus or box are."""
        return Doubt(0, self._uncertainty.get(source, 0), source)

    def _take_pulses(self, frames: FrameBatch, upto_ns: int) -> None:
        heard = shows_awake(frames)
        all_heard = bool(heard.all())
        for bus, pulse in self.pulses.items():
            places = [i for i, name in enumerate(frames.channels) if name == bus]
            rows: BoolArray | slice = heard
            if len(frames.channels) == len(places) == 1 and all_heard:
                rows = slice(None)
            elif len(places) == 1:
                rows = heard & (frames.channel == places[0])
            else:
                rows = heard & np.isin(frames.channel, np.array(places, np.uint8))
            times = frames.t_ns[rows]
            for sleep in pulse.advance(times, upto_ns):
                self._log_sleep(bus, sleep, frames, rows, times)

    def _log_sleep(
        self, bus: str, sleep: Sleep, frames: FrameBatch, rows: BoolArray | slice, times: Int64Array
    ) -> None:
        """A sleep is told twice: when it is sure, and when it ends."""
        told = sleep.told_ns - 1
        if self._upto_ns is None or self._upto_ns <= told:
            text = f"nothing heard on {bus} since"
            self.log.append(LogLine(told, sleep.last_ns, -1, "asleep", bus, text))
        if sleep.wake_ns is not None:
            identifier = int(frames.identifier[rows][np.searchsorted(times, sleep.wake_ns)])
            text = f"first frame after it: {identifier:X}"
            self.log.append(LogLine(sleep.wake_ns, sleep.wake_ns, -1, "awake", bus, text))

    def _take_messages(self, frames: FrameBatch, upto_ns: int) -> None:
        rows_of = dict(self._router.split(frames))
        for index, taps in self._plain.take(frames, rows_of, upto_ns).items():
            key = self._keys[index]
            came: dict[tuple[str, str], SignalSamples] = {}
            if (rows := rows_of.get(index)) is not None:
                for message, names in self._messages[key].values():
                    found = decode_rows(frames, rows, message, names)
                    came |= {(message.name, s.layout.name): s for s in found}
                if key in self._ages:
                    self._ages[key].learn(frames.t_ns[rows])
            for tap in taps:
                tap.take_message(came.get(_signal_of(tap)), upto_ns)

    def _take_answers(self, frames: FrameBatch, upto_ns: int) -> None:
        if not self._obd_taps:
            return
        told: dict[tuple[str, str], list[Reading | Request]] = {key: [] for key in self._obd_taps}
        for record in self._listener.feed(frames):
            if isinstance(record, Reading) and (record.channel, record.name) in told:
                told[record.channel, record.name].append(record)
            elif isinstance(record, Request) and record.service == CURRENT_DATA:
                for bus, name in self._obd_taps:
                    if bus == record.channel and self._obd_pids[name] in record.pids:
                        told[bus, name].append(record)
        for key, taps in self._obd_taps.items():
            readings = [record for record in told[key] if isinstance(record, Reading)]
            numbers = [r.value if isinstance(r.value, int | float) else r.raw for r in readings]
            t_ns = np.array([r.t_ns for r in readings], np.int64)
            value = np.array([np.nan if n is None else float(n) for n in numbers], np.float64)
            code = np.where(np.isnan(value), UNKNOWN, TRUE).astype(np.uint8)
            for tap in taps:
                tap.told = told[key]
                tap.max_age.learn(t_ns)
                tap.take(t_ns, value, code, upto_ns)

    def _take_polls(self, taps: Sequence[WiredTap], batch: InputBatch | None, upto_ns: int) -> None:
        for tap in taps:
            if batch is None or not len(batch):
                tap.take(NO_TIMES, None, None, upto_ns)
            elif tap.line.analogue:
                has = batch.analogue is not None and tap.line.number < batch.analogue.shape[1]
                millivolts = batch.analogue[:, tap.line.number] if has and batch.analogue is not None else None
                if millivolts is None:
                    tap.take(NO_TIMES, None, None, upto_ns)
                else:
                    tap.take(batch.t_ns, None, millivolts.astype(np.int64), upto_ns)
            else:
                tap.take(batch.t_ns, levels(batch.mask, tap.line.number), None, upto_ns)


def _by_message(taps: Sequence[SampledTap]) -> dict[str, tuple[MessageLayout, set[str]]]:
    """The messages of one identifier, by name: one for each database that describes it, with its signals wanted."""
    found: dict[str, tuple[MessageLayout, set[str]]] = {}
    for tap in taps:
        message, signal = _signal_of(tap)
        assert isinstance(tap.source.tap, MessageTap)
        found.setdefault(message, (tap.source.tap.message, set()))[1].add(signal)
    return found


def _signal_of(tap: SampledTap) -> tuple[str, str]:
    """Message and signal that a tap takes its samples from."""
    found = tap.source.tap
    assert isinstance(found, MessageTap)
    return found.message.name, found.layout.name


def _bus_of(tap: SampledTap) -> str:
    found = tap.source.tap
    assert isinstance(found, MessageTap | ObdTap)
    return found.bus
