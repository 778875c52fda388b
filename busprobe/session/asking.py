"""Who asks for OBD data while a live scene goes on: busprobe itself where it has leave, and other testers.

live run ──every batch──> Asking ──> Polling, where --allow-requests was given
                             └─────> what is asked by others; which polled PIDs nobody answered
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace

from busprobe.bench.model import Bus
from busprobe.decode import pids
from busprobe.decode.answers import Reading
from busprobe.decode.obd import Listener
from busprobe.engine.plan import Plan
from busprobe.engine.signal_plan import ObdTap
from busprobe.frames import FrameBatch, InputBatch
from busprobe.health import RequestsNow
from busprobe.report.live_text import asker_words
from busprobe.session.polling import start_polling
from busprobe.sources.clock import Clock
from busprobe.sources.live import LiveSource
from busprobe.sources.manners import RequestWatch

RATE_OVER_NS = 10_000_000_000
"""Time over which the rate of busprobe's own requests is taken."""
PATIENCE_NS = 5_000_000_000
"""So long others may take to ask before it is said that nobody does."""


class Asking:
    """Told of every batch of a live run, on its thread.

    Raises DeviceError where leave is given on a listen-only bus.
    """

    def __init__(self, plan: Plan, sources: Sequence[LiveSource], clock: Clock, *, allow_requests: bool) -> None:
        bench = plan.bench
        self._polling = start_polling(bench, sources, clock) if allow_requests else None
        own = None if self._polling is None else self._polling.bus
        self._watches: Mapping[str, RequestWatch] = {b.name: RequestWatch() for b in bench.buses if b.name != own}
        self._sent: deque[tuple[int, int]] = deque()
        """(time, requests sent up to then) of the last 10 s."""
        self._clock, self._start_ns = clock, clock.now_ns()
        self._unanswered = None if self._polling is not None else _Unanswered.of(plan)

    def observe(self, batch: FrameBatch | InputBatch) -> None:
        if self._polling is not None:
            self._polling.observe(batch)
        if not isinstance(batch, FrameBatch) or not batch.channels:
            return
        watch = self._watches.get(batch.channels[0])
        if watch is not None:
            watch.feed(batch)
        if self._unanswered is not None:
            self._unanswered.feed(batch)

    def stop(self) -> None:
        """Ask no more: the sources are about to be closed."""
        if self._polling is not None:
            self._polling.stop()

    def now(self, now_ns: int) -> tuple[RequestsNow, ...]:
        """By bus, as far as somebody asks there. Call it now and then: the rate is taken between the calls."""
        heard = [(bus, watch) for bus, watch in self._watches.items() if watch.seen is not None]
        others = [RequestsNow(bus, other=w.seen, is_other_asking=w.is_asking(now_ns)) for bus, w in heard]
        return (*self._own(now_ns), *others)

    def problem(self, now_ns: int) -> str:
        """That nobody asks for what the bench file polls; empty where somebody does, or need not."""
        if self._unanswered is None or now_ns - self._start_ns < PATIENCE_NS:
            return ""
        return self._unanswered.text()

    @property
    def paused(self) -> str:
        """Why busprobe asks nothing now though it has leave, a sentence; empty otherwise."""
        return "" if self._polling is None else self._polling.health.paused

    def testers(self, now_ns: int) -> tuple[str, ...]:
        """Who else asks now, in short: a few words a bus."""
        found = [(one.bus, one.other) for one in self.now(now_ns) if one.is_other_asking]
        return tuple(asker_words(bus, other) for bus, other in found if other is not None)

    def kept(self) -> tuple[RequestsNow, ...]:
        """All that is known now, as a recording keeps it: also that nobody asks for what the bench file polls."""
        now_ns = self._clock.now_ns()
        by_bus, problem = {one.bus: one for one in self.now(now_ns)}, self.problem(now_ns)
        if self._unanswered is not None and problem:
            bus = self._unanswered.bus.name
            by_bus[bus] = replace(by_bus.get(bus, RequestsNow(bus)), unasked=problem)
        return tuple(by_bus.values())

    def _own(self, now_ns: int) -> tuple[RequestsNow, ...]:
        polling = self._polling
        if polling is None:
            return ()
        sent = polling.health.requests
        while self._sent and self._sent[0][0] < now_ns - RATE_OVER_NS:
            self._sent.popleft()
        self._sent.append((now_ns, sent))
        span_ns = now_ns - self._sent[0][0]
        rate = (sent - self._sent[0][1]) * 1e9 / span_ns if span_ns > 0 else 0.0
        return (polling.now(now_ns, round(rate, 1)),)


class _Unanswered:
    """PIDs that the bench file polls and nobody has answered so far."""

    def __init__(self, bus: Bus, polled: Sequence[int], signals: Mapping[str, frozenset[int]]) -> None:
        """signals: those that come from nothing but OBD answers, and with which PIDs."""
        self.bus = bus
        self._pids = dict.fromkeys(polled)
        self._signals = signals
        self._listener = Listener()

    @classmethod
    def of(cls, plan: Plan) -> _Unanswered | None:
        """None where the bench file polls nothing."""
        obd = plan.bench.obd
        if obd is None or not obd.poll or obd.every_ns is None:
            return None
        bus = next(b for b in plan.bench.buses if b.name == obd.bus)
        taps = {
            name: [source.tap for source in signal.sources if isinstance(source.tap, ObdTap)]
            for name, signal in plan.signals.items()
        }
        signals = {
            name: frozenset(q.pid for tap in found if (q := pids.find(tap.name)) is not None)
            for name, found in taps.items()
            if len(found) == len(plan.signals[name].sources)
        }
        return cls(bus, obd.poll, signals)

    def feed(self, batch: FrameBatch) -> None:
        if self._pids and batch.channels == (self.bus.name,):
            for record in self._listener.feed(batch):
                if isinstance(record, Reading) and record.pid is not None:
                    self._pids.pop(record.pid, None)

    def text(self) -> str:
        left = tuple(self._pids)
        if not left:
            return ""
        asked = ", ".join(f"{pid:02X}" for pid in left)
        names = [name for name, wanted in self._signals.items() if wanted and wanted <= set(left)]
        told = f"; unknown until then: {', '.join(names)}" if names else ""
        how = "with --allow-requests"
        if self.bus.listen_only:
            how = 'with "listen_only = false" in this [[bus]] and --allow-requests'
        return (
            f'The bench file polls OBD data on "{self.bus.name}" ({asked}), but nobody asks for it there{told}. '
            f"busprobe asks when it is opened {how}; the answers to another tester count too."
        )
