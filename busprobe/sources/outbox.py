"""Frames on their way to the one guarded send; for a caller that must not wait, on a thread of its own.

run's loop ──hand──> Outbox ──own thread──> BusSource.send ──> driver, which may block
     ^                  │
     └──── finished ────┘    when it went out, or why it did not
"""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Final, Protocol

from busprobe.errors import DeviceError
from busprobe.obd_identifiers import is_extended
from busprobe.sources.permit import SendPermit

NOT_WANTED: Final = "It is not wanted any more."


class Sender(Protocol):
    """The one guarded send of a bus source."""

    def send(self, identifier: int, data: bytes, permit: SendPermit, *, extended: bool = False) -> int:
        """Send a frame and say when, in event time. Raises DeviceError."""
        ...


@dataclass(eq=False)
class Handed:
    """A frame that was handed over."""

    identifier: int
    data: bytes
    at_ns: int
    """Event time at which it was handed over."""
    sent_ns: int = 0
    """Event time at which the adapter was given it."""
    out_ns: int = 0
    """... and at which it had taken it."""
    trouble: str = ""
    """Why it did not go out; a sentence."""
    is_unwanted: bool = False
    """Set by whoever handed it over: it is not sent if its turn has not come yet."""
    is_over: bool = False
    """It went out, or it never will."""


class Outbox:
    """Sends one frame after the other with leave for one bus.

    own_thread: send on a thread of its own; end it with `close`. Everything else is for one caller.
    """

    def __init__(self, sender: Sender, permit: SendPermit, *, own_thread: bool = False) -> None:
        self._sender = sender
        self._permit = permit
        self._own_thread = own_thread
        self._out: deque[Handed] = deque()
        """Handed over and not yet given by `finished`."""
        self._queue: SimpleQueue[Handed | None] = SimpleQueue()
        self._thread: threading.Thread | None = None
        self._is_closed = False

    @property
    def oldest(self) -> Handed | None:
        """The frame whose turn it is; None where nothing is on its way."""
        return self._out[0] if self._out else None

    def hand(self, identifier: int, data: bytes, now_ns: int) -> Handed:
        """Put a frame on its way; `finished` gives it once that is over."""
        handed = Handed(identifier, data, now_ns)
        self._out.append(handed)
        if not self._own_thread or self._is_closed:
            self._send(handed)
            return handed
        if self._thread is None:
            self._thread = threading.Thread(target=self._go_on, name="send", daemon=True)
            self._thread.start()
        self._queue.put(handed)
        return handed

    def finished(self) -> list[Handed]:
        """Those that are over, each once, in their order."""
        found = []
        while self._out and self._out[0].is_over:
            found.append(self._out.popleft())
        return found

    def drop_waiting(self) -> None:
        """Frames whose turn has not come are not sent any more."""
        for handed in self._out:
            handed.is_unwanted = True

    def close(self) -> None:
        """Send nothing more. A frame that the driver has already is not waited for; harmless twice."""
        self._is_closed = True
        self._queue.put(None)

    def _go_on(self) -> None:
        while (handed := self._queue.get()) is not None:
            self._send(handed)

    def _send(self, handed: Handed) -> None:
        if handed.is_unwanted or self._is_closed:
            handed.trouble = NOT_WANTED
            handed.is_over = True
            return
        begun_ns = time.monotonic_ns()
        try:
            handed.sent_ns = self._sender.send(
                handed.identifier, handed.data, self._permit, extended=is_extended(handed.identifier)
            )
            took_ns = time.monotonic_ns() - begun_ns if self._own_thread else 0
            handed.out_ns = handed.sent_ns + took_ns
        except DeviceError as error:
            handed.trouble = str(error)
        except Exception as error:  # a driver may raise anything; the run goes on, and says so
            bus = self._permit.bus
            handed.trouble = f'Bus "{bus}": its driver failed to send ({type(error).__name__}: {error}).'
        handed.is_over = True
