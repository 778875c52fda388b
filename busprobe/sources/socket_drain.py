"""Reads sockets whose kernel stamps every datagram, one frame each, without a message for each frame.

    recvmsg, recvmsg ... ──> datagrams ── all plain ──> arrays
                                 └── one is not ──> python-can's messages ──> arrays

Plain is a classic data frame; whatever is anything else python-can takes apart, as it would have.
"""

from __future__ import annotations

import select
import socket
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from os import dup
from typing import Protocol, TypeAlias

import can
import numpy as np

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch, Int64Array, empty_frames
from busprobe.sources.bus_trouble import DAMAGED, gone, unreadable
from busprobe.sources.drain import HOPELESS, NAP_S, WAIT_S, Haul, haul_of_messages

Datagram: TypeAlias = tuple[bytes, list[tuple[int, int, bytes]], int, object]
"""What `socket.recvmsg` returns: bytes, ancillary data, flags, sender."""

TIMESPEC = np.dtype([("seconds", "l"), ("ns", "l")])
"""Linux struct timespec, as SO_TIMESTAMPNS gives it."""
MOST_AT_ONCE = 1000
"""Datagrams between two looks at the clock, about 5 ms."""


class Form(Protocol):
    """How one interface packs a frame into a datagram."""

    size: int
    """Bytes of the longest datagram."""

    def plain(self, datagrams: Sequence[Datagram], stamps_ns: Int64Array, channel: str) -> FrameBatch | None:
        """(n >= 1) datagrams as frames; None where one of them is no classic data frame."""
        ...

    def message(self, datagram: Datagram, stamp_s: float) -> can.Message | None:
        """One datagram by python-can, None where it passes it over. Raises one of DAMAGED for what is no frame."""
        ...


class SocketDrain:
    """Takes all datagrams that wait, then naps; waits for the next one where the kernel has little room."""

    def __init__(self, bus: Bus, fd: int, form: Form, now_ns: Callable[[], int], mark: str, *, naps: bool) -> None:
        """fd: of the device's socket; mark, naps: see `MessageDrain`."""
        self.unreadable = 0
        self.fault: DeviceError | None = None
        self._bus = bus
        self._socket = socket.socket(fileno=dup(fd))
        self._room = socket.CMSG_SPACE(TIMESPEC.itemsize)
        self._form = form
        self._now_ns = now_ns
        self._mark = mark
        self._naps = naps
        self._heard = False
        self._after_ns = now_ns()

    def take(self, deadline_ns: int) -> Haul:
        datagrams: list[Datagram] = []
        counts: list[int] = []
        looks: list[tuple[int, int]] = []
        """Of each look: what it found came after, and had come by."""
        empty_ns = None
        t_ns = self._now_ns()
        while t_ns < deadline_ns and self.fault is None:
            before, began_ns = len(datagrams), t_ns
            is_empty = self._sweep(datagrams)
            t_ns = self._now_ns()
            counts.append(len(datagrams) - before)
            looks.append((self._after_ns, t_ns))
            if is_empty:
                # Not when it ended: the program may have been held up since it found nothing.
                empty_ns = self._after_ns = began_ns
                if self._naps:
                    time.sleep(NAP_S)
                else:
                    select.select([self._socket], [], [], WAIT_S)
                t_ns = self._now_ns()
        between = np.repeat(np.array(looks, np.int64).reshape(-1, 2), counts, axis=0)
        return self._haul(datagrams, between[:, 1], between[:, 0], empty_ns)

    def close(self) -> None:
        self._socket.close()

    def _sweep(self, datagrams: list[Datagram]) -> bool:
        """Take what waits; whether nothing more did."""
        take, recvmsg, size, room = datagrams.append, self._socket.recvmsg, self._form.size, self._room
        try:
            for _ in range(MOST_AT_ONCE):
                take(recvmsg(size, room, socket.MSG_DONTWAIT))
        except BlockingIOError:
            return True
        except OSError as error:
            self.fault = gone(self._bus, error)
        return False

    def _haul(
        self, datagrams: Sequence[Datagram], arrivals_ns: Int64Array, after_ns: Int64Array, empty_ns: int | None
    ) -> Haul:
        name = self._bus.name
        if not datagrams:
            return Haul(empty_frames((name,)), arrivals_ns, after_ns, (), empty_ns)
        stamps_ns = kernel_stamps(datagrams, arrivals_ns)
        frames = self._form.plain(datagrams, stamps_ns, name)
        if frames is not None:
            self._heard = True
            return Haul(frames, arrivals_ns, after_ns, (), empty_ns)
        messages: list[can.Message] = []
        rows: list[int] = []
        for row, datagram in enumerate(datagrams):
            try:
                message = self._form.message(datagram, stamps_ns[row] * 1e-9)
            except DAMAGED:
                self.unreadable += 1
                continue
            if message is not None:
                messages.append(message)
                rows.append(row)
        self._heard = self._heard or bool(messages)
        if self.unreadable >= HOPELESS and not self._heard:
            self.fault = unreadable(self._bus, self.unreadable)
        haul = haul_of_messages(messages, arrivals_ns[rows], after_ns[rows], empty_ns, name, self._mark)
        return replace(haul, frames=replace(haul.frames, t_ns=stamps_ns[rows]))


def kernel_stamps(datagrams: Sequence[Datagram], arrivals_ns: Int64Array) -> Int64Array:
    """(n,) when the kernel got each datagram, ns since the epoch; the arrival where it does not say."""
    told = [ancillary[0][2] if len(ancillary) == 1 else b"" for _, ancillary, _, _ in datagrams]
    says = [len(part) == TIMESPEC.itemsize for part in told]
    spec = np.frombuffer(b"".join([part for part, said in zip(told, says, strict=True) if said]), TIMESPEC)
    stamps = arrivals_ns.copy()
    stamps[says] = spec["seconds"].astype(np.int64) * 1_000_000_000 + spec["ns"].astype(np.int64)
    return stamps
