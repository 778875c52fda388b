"""Takes from a driver what came, as little as can be done for each frame.

    MessageDrain    any driver: recv ──> python-can's messages ──> arrays
    SocketDrain     sockets whose kernel stamps frames: recvmsg ──> bytes ──> arrays (see `socket_drain`)

At 16,000 frames a second every microsecond for each frame is 1.6 % of a processor.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import can
import numpy as np

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch, Int64Array, empty_frames
from busprobe.sources.bus_trouble import UNREADABLE, gone, system_error, unreadable
from busprobe.sources.received import frames_of_messages, stamps_of

WAIT_S = 0.01
"""A blocking read gives up after this long to see whether the batch is due."""
LOOKS = 2
"""So many looks in a row that find nothing, and nothing waits: one may find what is no frame."""
NAP_S = 0.004
"""Between two looks at a socket with ample room: one look for many frames saves waking for each."""
HOPELESS = 200
"""Unreadable pieces without one frame after which the device is taken for something else."""


@dataclass(frozen=True)
class Haul:
    """What came in the time of one batch."""

    frames: FrameBatch
    """Its times are the driver's stamps, ns; the arrival where it gave none."""
    arrivals_ns: Int64Array
    """(n,) event time at which each frame had come at the latest."""
    after_ns: Int64Array
    """(n,) event time at which each had not come yet: of a look that found nothing more."""
    errors: Sequence[can.Message]
    """The error frames among them."""
    empty_ns: int | None
    """All that came before this has been read: when a look last began that found nothing more; None: never."""


class Drain(Protocol):
    """Reads one open device."""

    unreadable: int
    """Pieces that were no frame, so far."""
    fault: DeviceError | None
    """Why nothing more will come."""

    def take(self, deadline_ns: int) -> Haul:
        """What comes up to a time; less where `fault` ends it."""
        ...

    def close(self) -> None:
        """Let go of what is not the device's own."""
        ...


class MessageDrain:
    """Asks a driver for message after message."""

    def __init__(
        self,
        bus: Bus,
        device: can.BusABC,
        now_ns: Callable[[], int],
        mark: str,
        *,
        naps: bool,
        wait_s: float = WAIT_S,
        is_empty: Callable[[], bool] | None = None,
    ) -> None:
        """mark: channel name of own frames that come back, empty where none do; naps: wait between looks.
        wait_s: else a look waits so long. is_empty: whether nothing waits in its port, where that can be asked.
        """
        self.unreadable = 0
        self.fault: DeviceError | None = None
        self._bus = bus
        self._device = device
        self._now_ns = now_ns
        self._mark = mark
        self._wait_s, self._nap_s, self._looks = (0.0, NAP_S, 1) if naps else (wait_s, 0.0, LOOKS)
        self._wait_ns = round(self._wait_s * 1e9)
        self._recv = _receiver(device)
        self._heard = False
        self._is_empty = is_empty
        self._after_ns = now_ns()
        self._empty = 0
        """Looks in a row that found nothing."""

    def take(self, deadline_ns: int) -> Haul:
        messages: list[can.Message] = []
        arrivals: list[int] = []
        afters: list[int] = []
        take, arrived, not_before, recv = messages.append, arrivals.append, afters.append, self._recv
        now, nap_s, looks, often_ns = self._now_ns, self._nap_s, self._looks, self._wait_ns // 2
        empty_ns = None
        t_ns = now()
        while t_ns < deadline_ns:
            began_ns = t_ns
            # Now and then a look that does not wait: where frames keep coming no other ever finds nothing.
            waits = self._empty >= looks or began_ns - self._after_ns < often_ns
            try:
                if not waits and self._is_empty is not None:
                    waits = True
                    if self._is_empty():
                        empty_ns = self._after_ns = began_ns
                message = recv(self._wait_s if waits else 0.0)
            except (can.CanError, OSError, *UNREADABLE) as error:
                if self._is_lost(error):
                    break
                t_ns = now()
                continue
            t_ns = now()
            if message is not None:
                self._heard, self._empty = True, 0
                take(message)
                arrived(t_ns)
                not_before(self._after_ns)
                continue
            # One that waits and is over early found something, which was no frame.
            self._empty = 0 if waits and t_ns < began_ns + often_ns else self._empty + 1
            if self._empty >= looks:
                # The program may have been held up since the look: what came meanwhile was not seen.
                empty_ns = self._after_ns = min(t_ns, began_ns + self._wait_ns) if waits else began_ns
            if nap_s:
                time.sleep(nap_s)
                t_ns = now()
        return haul_of_messages(
            messages, np.array(arrivals, np.int64), np.array(afters, np.int64), empty_ns, self._bus.name, self._mark
        )

    def close(self) -> None:
        """The device is all there is."""

    def _is_lost(self, error: Exception) -> bool:
        """Whether what a read raised ends the reading; else it was rubbish, which is counted, or nothing."""
        if isinstance(error, can.CanTimeoutError):
            return False
        if isinstance(error, OSError) or (
            isinstance(error, can.CanError) and (error.__cause__ is None or system_error(error) is not None)
        ):
            self.fault = gone(self._bus, error)
            return True
        self.unreadable += 1
        device: Any = self._device
        if isinstance(error.__cause__, UnicodeDecodeError) and hasattr(device, "flush"):
            device.flush()  # slcan would try the same bytes again and again
        if self.unreadable >= HOPELESS and not self._heard:
            self.fault = unreadable(self._bus, self.unreadable)
        return self.fault is not None


def haul_of_messages(
    messages: Sequence[can.Message],
    arrivals_ns: Int64Array,
    after_ns: Int64Array,
    empty_ns: int | None,
    channel: str,
    mark: str,
) -> Haul:
    """Messages in their order; those whose channel is `mark` were sent by us."""
    if not messages:
        return Haul(empty_frames((channel,)), arrivals_ns, after_ns, (), empty_ns)
    if mark:
        for message in messages:
            message.is_rx = message.is_rx and message.channel != mark
    frames = frames_of_messages(messages, stamps_of(messages, arrivals_ns), channel)
    return Haul(frames, arrivals_ns, after_ns, [m for m in messages if m.is_error_frame], empty_ns)


def _receiver(device: can.BusABC) -> Callable[[float], can.Message | None]:
    """`recv`, without its line to a log and its look at filters for every frame where there are none."""
    if not isinstance(device, can.BusABC) or type(device).recv is not can.BusABC.recv or device.filters is not None:
        return device.recv
    receive = device._recv_internal
    return lambda timeout: receive(timeout)[0]
