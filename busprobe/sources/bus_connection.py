"""One connection to a bus adapter, from plugging in to unplugging.

    recv ──> messages, arrivals ── 50 ms ──> FrameBatch, complete_to_ns
     ^            as little as can be done for each frame
    driver

At 16,000 frames a second every microsecond of the loop is 1.6 % of a processor.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import can
import numpy as np

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import ERROR, SENT, FrameBatch, Int64Array, empty_frames, join_frames
from busprobe.sources.bus_opening import close_bus, port_of
from busprobe.sources.bus_trouble import UNREADABLE, bus_off, gone, port_name, system_error, unreadable
from busprobe.sources.clock import ArrivalStamps, Clock, StampMap, Stamps, WallStamps
from busprobe.sources.drivers import StampedBy, driver_of, uncertainty_ns
from busprobe.sources.error_frames import INTERFACES as TELLING_INTERFACES
from busprobe.sources.error_frames import BusState, Controller
from busprobe.sources.live import BATCH_NS, Health
from busprobe.sources.received import frames_of_messages, stamps_of
from busprobe.sources.socket_health import AMPLE_BYTES, dropped, is_socket, make_room

WAIT_S = 0.01
"""A blocking read gives up after this long to see whether the batch is due."""
NAP_S = 0.004
"""Between two looks at a socket with ample room: one look for many frames saves waking for each."""
MARGIN_NS = 1_000_000
"""A frame stamped this long before a read that found nothing has come."""
MOST_MARGIN_NS = 30_000_000
"""Frames that an adapter keeps longer than this are stamped late instead of holding logic back."""
SPREADS = 40
"""Batches over which an adapter's greatest delay is taken: about 2 s."""
HOPELESS = 200
"""Unreadable pieces without one frame after which the device is taken for something else."""


class BusConnection:
    """An open adapter, read by one thread."""

    def __init__(self, bus: Bus, device: can.BusABC, clock: Clock, listening: str, mark: str) -> None:
        """mark: channel name with which own frames are sent; a multicast socket hears them too."""
        self.device = device
        self.clock = clock
        self._bus = bus
        self._listening = listening
        self._mark = mark
        self._echoes = bus.interface == "udp_multicast" and not bus.listen_only
        self._own: deque[tuple[int, can.Message]] = deque()
        """(event time, frame) of what was sent since the last batch."""
        self._complete_ns = clock.now_ns()
        self._fault: DeviceError | None = None
        self._controller = Controller()
        self._records = self._errors = self._unreadable = self._dropped = 0

        interface = bus.interface or ""
        stamped_by = driver_of(interface).stamped_by
        self._stamps = _stamps(stamped_by, clock)
        self._stamps.not_before(self._complete_ns)
        self._spreads: deque[int] = deque(maxlen=SPREADS)
        self._uncertainty_ns = max(bus.uncertainty_ns, uncertainty_ns(interface, bus.channel or ""))
        self._fd = _socket_of(device)
        naps = self._fd is not None and make_room(self._fd) >= AMPLE_BYTES and stamped_by is StampedBy.SYSTEM
        self._wait_s, self._nap_s = (0.0, NAP_S) if naps else (WAIT_S, 0.0)
        self._recv = _receiver(device)

    def read(self) -> FrameBatch:
        """The frames of the next 50 ms or so; a fault is raised once they are given."""
        if self._fault is not None:
            raise self._fault
        messages, arrivals, empty_ns = self._drain()
        batch = self._batch(messages, np.array(arrivals, np.int64))
        self._look_after(messages, batch)
        if self._fault is not None and not len(batch):
            raise self._fault
        return replace(batch, complete_to_ns=self._complete(batch, empty_ns))

    def note_sent(self, sent_ns: int, message: can.Message) -> None:
        """A frame of ours went out; it is given with the next batch, unless the adapter hands it back."""
        if not self._echoes and not self._bus.options.get("receive_own_messages"):
            message.is_rx = False
            self._own.append((sent_ns, message))

    def close(self) -> None:
        close_bus(self.device)

    def health(self) -> Health:
        state = self._controller.state
        return Health(
            records=self._records,
            errors=self._errors + self._unreadable,
            lost=self._dropped + self._controller.overflows,
            uncertainty_ns=self._uncertainty_ns,
            state=state.value if state is not None else "",
            listening=self._listening,
        )

    # Reading.

    def _drain(self) -> tuple[list[can.Message], list[int], int | None]:
        """Messages of one batch, their arrivals, and when a read last found nothing more (None: never)."""
        messages: list[can.Message] = []
        arrivals: list[int] = []
        take, arrived, recv, now = messages.append, arrivals.append, self._recv, self.clock.now_ns
        wait_s, nap_s = self._wait_s, self._nap_s
        empty_ns = None
        t_ns = now()
        deadline_ns = t_ns + BATCH_NS
        while t_ns < deadline_ns:
            try:
                message = recv(wait_s)
            except (can.CanError, OSError, *UNREADABLE) as error:
                if self._is_lost(error):
                    break
                t_ns = now()
                continue
            t_ns = now()
            if message is not None:
                take(message)
                arrived(t_ns)
            else:
                empty_ns = t_ns
                if nap_s:
                    time.sleep(nap_s)
        return messages, arrivals, empty_ns

    def _is_lost(self, error: Exception) -> bool:
        """Whether what a read raised ends the reading; else it was rubbish, which is counted, or nothing."""
        if isinstance(error, can.CanTimeoutError):
            return False
        if isinstance(error, OSError) or (
            isinstance(error, can.CanError) and (error.__cause__ is None or system_error(error) is not None)
        ):
            self._fault = gone(self._bus, error)
            return True
        self._unreadable += 1
        device: Any = self.device
        if isinstance(error.__cause__, UnicodeDecodeError) and hasattr(device, "flush"):
            device.flush()  # slcan would try the same bytes again and again
        if self._unreadable >= HOPELESS and not self._records:
            self._fault = unreadable(self._bus, self._unreadable)
        return self._fault is not None

    def _batch(self, messages: list[can.Message], arrivals_ns: Int64Array) -> FrameBatch:
        """What came and what was sent, in the order of their times."""
        came = empty_frames((self._bus.name,))
        if messages:
            t_ns = self._stamps.map(stamps_of(messages, arrivals_ns), arrivals_ns)
            came = self._with_echoes(messages, frames_of_messages(messages, t_ns, self._bus.name))
        own = [self._own.popleft() for _ in range(len(self._own))]
        if not own:
            return came
        sent_ns = np.maximum(np.array([t_ns for t_ns, _ in own], np.int64), self._complete_ns)
        both = join_frames([came, frames_of_messages([message for _, message in own], sent_ns, self._bus.name)])
        return both.take(np.argsort(both.t_ns, kind="stable"))

    def _with_echoes(self, messages: list[can.Message], batch: FrameBatch) -> FrameBatch:
        """The batch, with own frames that came back flagged as sent."""
        if not self._echoes:
            return batch
        is_own = np.array([message.channel == self._mark for message in messages])
        return replace(batch, flags=np.where(is_own, batch.flags | np.uint8(SENT), batch.flags))

    def _complete(self, batch: FrameBatch, empty_ns: int | None) -> int:
        """No later frame is stamped before this."""
        if isinstance(self._stamps, StampMap):
            self._spreads.append(self._stamps.spread_ns)
        reached = [self._complete_ns]
        if len(batch):
            reached.append(int(batch.t_ns[-1]))
        if empty_ns is not None:
            reached.append(empty_ns - min(max((MARGIN_NS, *self._spreads)), MOST_MARGIN_NS))
        self._complete_ns = max(reached)
        self._stamps.not_before(self._complete_ns)
        return self._complete_ns

    # Health.

    def _look_after(self, messages: list[can.Message], batch: FrameBatch) -> None:
        """Count, and notice an adapter that is gone or bus-off without saying so."""
        device = self.device
        self._records += len(batch)
        errors = int(np.count_nonzero(batch.flags & ERROR))
        self._errors += errors
        if errors and self._bus.interface in TELLING_INTERFACES:
            self._controller.take(message for message in messages if message.is_error_frame)
        if type(device).state is not can.BusABC.state and device.state is can.BusState.ERROR:
            self._controller.state = BusState.OFF
        if self._fd is not None:
            self._dropped = dropped(self._fd)
        if self._fault is not None:
            return
        if self._controller.state is BusState.OFF:
            self._fault = bus_off(self._bus)
        elif not messages and not _is_there(device, port_name(self._bus)):
            self._fault = gone(self._bus, None)


def _receiver(device: can.BusABC) -> Callable[[float], can.Message | None]:
    """`recv`, without its line to a log and its look at filters for every frame where there are none."""
    if not isinstance(device, can.BusABC) or type(device).recv is not can.BusABC.recv or device.filters is not None:
        return device.recv
    receive = device._recv_internal
    return lambda timeout: receive(timeout)[0]


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
