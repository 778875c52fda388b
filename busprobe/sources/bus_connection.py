"""One connection to a bus adapter, from plugging in to unplugging.

driver ──> Drain ── 50 ms ──> Haul ── stamps ──> FrameBatch, complete_to_ns

Frames of which nobody can say when they came, because the program was held up before it read
them or the kernel had no more room, are given flagged late.
"""

from __future__ import annotations

import sys
from collections import deque
from dataclasses import replace
from pathlib import Path
from typing import Any

import can
import numpy as np

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import ERROR, LATE, FrameBatch, join_frames
from busprobe.health import Health
from busprobe.sources.bus_opening import close_bus, port_of
from busprobe.sources.bus_trouble import bus_off, gone, port_name
from busprobe.sources.clock import ArrivalStamps, Clock, StampMap, Stamps
from busprobe.sources.datagram_forms import form_of
from busprobe.sources.drain import WAIT_S, Drain, Haul, MessageDrain
from busprobe.sources.drivers import READER_WAIT_S, StampedBy, driver_of, uncertainty_ns
from busprobe.sources.error_frames import INTERFACES as TELLING_INTERFACES
from busprobe.sources.error_frames import BusState, Controller
from busprobe.sources.live import batch_end_ns
from busprobe.sources.received import frames_of_messages
from busprobe.sources.socket_drain import SocketDrain
from busprobe.sources.socket_health import AMPLE_BYTES, dropped, is_socket, make_room
from busprobe.sources.wall_stamps import WallStamps
from busprobe.timeline import NEVER

MARGIN_NS = 1_000_000
"""A frame stamped this long before a read that found nothing has come."""
MOST_MARGIN_NS = 30_000_000
"""Frames that an adapter keeps longer than this are stamped late instead of holding logic back."""
SPREADS = 40
"""Batches over which an adapter's greatest delay is taken: about 2 s."""


class BusConnection:
    """An open adapter, read by one thread."""

    def __init__(self, bus: Bus, device: can.BusABC, clock: Clock, listening: str, mark: str) -> None:
        """mark: channel name with which own frames are sent; a multicast socket hears them too."""
        self.device = device
        self.clock = clock
        self._bus = bus
        self._listening = listening
        self._echoes = bus.interface == "udp_multicast" and not bus.listen_only
        self._own: deque[tuple[int, can.Message]] = deque()
        """(event time, frame) of what was sent since the last batch."""
        self._complete_ns = clock.now_ns()
        self._fault: DeviceError | None = None
        self._controller = Controller()
        self._records = self._errors = self._dropped = 0
        self._unsure_to_ns = NEVER
        """Frames up to this time may have others missing among them."""

        interface = bus.interface or ""
        stamped_by = driver_of(interface).stamped_by
        self._stamps = _stamps(stamped_by, clock)
        self._stamps.not_before(self._complete_ns)
        self._spreads: deque[int] = deque(maxlen=SPREADS)
        self._uncertainty_ns = max(bus.uncertainty_ns, uncertainty_ns(interface, bus.channel or ""))
        self._fd = _socket_of(device)
        naps = self._fd is not None and make_room(self._fd) >= AMPLE_BYTES and stamped_by is StampedBy.SYSTEM
        wait_s = READER_WAIT_S if stamped_by is StampedBy.READER else WAIT_S
        self._drain = _drain(bus, device, self._fd, clock, mark if self._echoes else "", naps=naps, wait_s=wait_s)

    def read(self) -> FrameBatch:
        """The frames of the next 50 ms or so; a fault is raised once they are given."""
        if self._fault is not None:
            raise self._fault
        haul = self._drain.take(batch_end_ns(self.clock.now_ns()))
        self._look_after(haul)
        came = self._came(haul)
        own = self._sent(came, haul.empty_ns)
        batch = self._with_own(came, own)
        self._records += len(batch)
        if self._fault is not None and not len(batch):
            raise self._fault
        return replace(batch, complete_to_ns=self._complete_ns)

    def note_sent(self, sent_ns: int, message: can.Message) -> None:
        """A frame of ours went out; it is given with the next batch, unless the adapter hands it back."""
        if not self._echoes and not self._bus.options.get("receive_own_messages"):
            message.is_rx = False
            self._own.append((sent_ns, message))

    def close(self) -> None:
        self._drain.close()
        close_bus(self.device)

    def health(self) -> Health:
        state = self._controller.state
        return Health(
            records=self._records,
            errors=self._errors + self._drain.unreadable,
            lost=self._dropped + self._controller.overflows,
            uncertainty_ns=self._uncertainty_ns,
            state=state.value if state is not None else "",
            listening=self._listening,
        )

    # Reading.

    def _came(self, haul: Haul) -> FrameBatch:
        """The frames that came, with their times; those with none that is sure are flagged."""
        came = haul.frames
        t_ns = self._stamps.map(came.t_ns, haul.arrivals_ns, haul.after_ns)
        if isinstance(self._stamps, StampMap):
            self._spreads.append(self._stamps.spread_ns)
        if not len(came):
            return came
        is_unsure = (self._stamps.doubt_ns > self._uncertainty_ns) | (t_ns <= self._unsure_to_ns)
        if not is_unsure.any():
            return replace(came, t_ns=t_ns)
        rows = np.flatnonzero(is_unsure)
        is_unsure[rows[0] :] |= t_ns[rows[0] :] <= t_ns[rows[-1]]
        return replace(came, t_ns=t_ns, flags=came.flags | is_unsure * np.uint8(LATE))

    def _sent(self, came: FrameBatch, empty_ns: int | None) -> list[tuple[int, can.Message]]:
        """Get on to what is complete now; own frames sent up to then, never before what was complete already."""
        before_ns = self._complete_ns
        reached = [before_ns]
        if len(came):
            reached.append(int(came.t_ns[-1]) + int((came.flags[-1] & LATE) != 0))
        if empty_ns is not None:
            reached.append(empty_ns - min(max((MARGIN_NS, *self._spreads)), MOST_MARGIN_NS))
        self._complete_ns = max(reached)
        self._stamps.not_before(self._complete_ns)
        own = []
        while self._own and (self._own[0][0] <= self._complete_ns or self._fault is not None):
            sent_ns, message = self._own.popleft()
            own.append((max(sent_ns, before_ns), message))
        return own

    def _with_own(self, came: FrameBatch, own: list[tuple[int, can.Message]]) -> FrameBatch:
        """What came and what was sent, in the order of their times."""
        if not own:
            return came
        sent_ns = np.array([t_ns for t_ns, _ in own], np.int64)
        both = join_frames([came, frames_of_messages([message for _, message in own], sent_ns, self._bus.name)])
        return both.take(np.argsort(both.t_ns, kind="stable"))

    # Health.

    def _look_after(self, haul: Haul) -> None:
        """Count, and notice an adapter that is gone or bus-off without saying so."""
        device = self.device
        errors = int(np.count_nonzero(haul.frames.flags & ERROR))
        self._errors += errors
        if errors and self._bus.interface in TELLING_INTERFACES:
            self._controller.take(haul.errors)
        if type(device).state is not can.BusABC.state and device.state is can.BusState.ERROR:
            self._controller.state = BusState.OFF
        if self._fd is not None:
            before, self._dropped = self._dropped, dropped(self._fd)
            if self._dropped > before:
                self._unsure_to_ns = self.clock.now_ns()
        self._fault = self._drain.fault
        if self._fault is not None:
            return
        if self._controller.state is BusState.OFF:
            self._fault = bus_off(self._bus)
        elif not len(haul.frames) and not _is_there(device, port_name(self._bus)):
            self._fault = gone(self._bus, None)


def _drain(
    bus: Bus, device: can.BusABC, fd: int | None, clock: Clock, mark: str, *, naps: bool, wait_s: float
) -> Drain:
    """Straight from the socket where its datagrams are known, else through the driver."""
    form = form_of(device, bus.interface or "", mark) if fd is not None and sys.platform == "linux" else None
    if fd is None or form is None:
        port = port_of(device)
        is_empty = None if port is None else lambda: _is_empty(port)
        return MessageDrain(bus, device, clock.now_ns, mark, naps=naps, wait_s=wait_s, is_empty=is_empty)
    return SocketDrain(bus, fd, form, clock.now_ns, mark, naps=naps)


def _is_empty(port: Any) -> bool:
    """Whether nothing waits in a serial port; one that is gone says so as it is read."""
    try:
        return not port.in_waiting
    except OSError:
        return False


def _stamps(stamped_by: StampedBy, clock: Clock) -> Stamps:
    match stamped_by:
        case StampedBy.SYSTEM:
            return WallStamps(clock)
        case StampedBy.ADAPTER:
            return StampMap()
        case StampedBy.READER:
            return ArrivalStamps()


def _socket_of(device: can.BusABC) -> int | None:
    """File descriptor of the socket behind a bus, if there is one."""
    try:
        fd = device.fileno()
    except (NotImplementedError, can.CanError):
        return None
    return fd if is_socket(fd) else None


def _is_there(device: can.BusABC, path: str) -> bool:
    """Whether the serial port of an adapter still is; some drivers read on without a word."""
    port = port_of(device)
    if port is None:
        return True
    try:
        port.in_waiting  # noqa: B018
    except OSError:
        return False
    return not path.startswith("/dev/") or Path(path).exists()
