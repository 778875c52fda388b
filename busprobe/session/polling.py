"""Keeps asking for the PIDs of `[obd] poll` in a live run.

live run ──every batch──> Polling.observe ──> Poller ──> thread "send" ──> BusSource.send
                                                 answers come back as frames like any others
"""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.bench.model import Bench
from busprobe.frames import FrameBatch, InputBatch
from busprobe.health import RequestsNow
from busprobe.session.request_notes import own_notes
from busprobe.sources.bus import BusSource
from busprobe.sources.clock import Clock
from busprobe.sources.live import LiveSource
from busprobe.sources.manners import QUIET_NS, RequestWatch
from busprobe.sources.permit import permit_requests
from busprobe.sources.poller import Poller, PollHealth
from busprobe.sources.requests import Requester


def start_polling(
    bench: Bench, sources: Sequence[LiveSource], clock: Clock, *, listen_ns: int = QUIET_NS
) -> Polling | None:
    """Polling as the bench file wants it, None where it polls nothing.

    Only to be called where --allow-requests was given. clock: the one that the sources are opened
    with. Raises DeviceError where the bus is listen-only.
    """
    obd = bench.obd
    if obd is None or not obd.poll or obd.every_ns is None:
        return None
    bus = next(one for one in bench.buses if one.name == obd.bus)
    permit = permit_requests(bus, True)
    source = next((one for one in sources if isinstance(one, BusSource) and one.name == bus.name), None)
    if source is None:
        return None
    requester = Requester(source, permit, listen_ns, own_thread=True, wakes=False)
    return Polling(requester, Poller(requester, obd.poll, obd.every_ns), bus.name, obd.every_ns, clock)


class Polling:
    """The poller of a live run. The run's thread calls `observe` with every batch; a send never holds it up.

    Call `stop` before the sources are closed: the last batches still come.
    """

    def __init__(self, requester: Requester, poller: Poller, bus: str, every_ns: int, clock: Clock) -> None:
        self._requester = requester
        self._poller = poller
        self.bus = bus
        self.every_ns = every_ns
        self._clock = clock
        self._is_over = False

    def stop(self) -> None:
        """Ask no more."""
        self._is_over = True
        self._requester.close()

    def observe(self, batch: FrameBatch | InputBatch) -> None:
        """A batch of any source; those of other buses and boxes only let time pass."""
        if isinstance(batch, FrameBatch) and batch.channels == (self.bus,):
            self._requester.feed(batch)
        if not self._is_over:
            self._poller.step(self._clock.now_ns())

    @property
    def health(self) -> PollHealth:
        return self._poller.health

    @property
    def testers(self) -> RequestWatch:
        """Who else asks on the bus."""
        return self._requester.manners.testers

    def now(self, now_ns: int, per_second: float = 0.0) -> RequestsNow:
        """How it goes. per_second: the rate of the requests."""
        found, testers = self.health, self.testers
        return RequestsNow(
            self.bus, True, found.requests, per_second, self.every_ns, found.period_ns, found.unanswered,
            found.refused, found.incomplete, found.paused, testers.seen, testers.is_asking(now_ns), found.not_taken,
        )  # fmt: skip

    def notes(self) -> list[str]:
        """How it went, for the report of the run."""
        return own_notes(self.now(self._clock.now_ns()))
