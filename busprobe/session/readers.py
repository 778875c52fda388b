"""Threads that read live sources, one each, and never stop for anything downstream."""

from __future__ import annotations

import gc
import sys
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import ClassVar

from busprobe.errors import BusprobeError, DeviceError
from busprobe.frames import FrameBatch, InputBatch
from busprobe.health import Health
from busprobe.sources.clock import Clock
from busprobe.sources.live import LiveSource

SWITCH_S = 0.0005
"""How often threads take turns."""
BACK_OFF_S = (0.5, 1.0, 2.0, 5.0, 10.0)
"""Waits between attempts to open a source again; the last one repeats."""
GOOD_S = 5.0
"""A source that was read for this long is well again: when it is lost, the waits begin anew."""
MOST_ROWS = 4_000_000
"""Records that may wait for a slow consumer; more are lost to it, counted and shown."""


@dataclass(frozen=True)
class Opened:
    """A source is there (again)."""

    source: str


@dataclass(frozen=True)
class Gone:
    """A source could not be opened, or was lost; `text` says what to do."""

    source: str
    text: str
    health: Health | None = None
    """Of the connection that was lost; None where there was none."""


@dataclass(frozen=True)
class Came:
    """A batch of a source."""

    source: str
    batch: FrameBatch | InputBatch


@dataclass(frozen=True)
class Lost:
    """Batches of a source were dropped; `upto_ns` is how far it was complete with the last of them."""

    source: str
    upto_ns: int | None


Event = Opened | Gone | Came | Lost


class Inbox:
    """Where readers put what they read; counts what had to be dropped.

    spill: called from any reader's thread with what is dropped.
    """

    def __init__(self, spill: Callable[[FrameBatch | InputBatch], None] | None = None) -> None:
        self._spill = spill
        self._queue: SimpleQueue[Event] = SimpleQueue()
        self._rows = 0
        self._lock = threading.Lock()
        self._dropped: dict[str, int | None] = {}
        """By source, how far it was complete with what was dropped and has not been told."""
        self.lost = 0

    def put(self, event: Event) -> None:
        if isinstance(event, Came):
            with self._lock:
                is_full = self._rows > MOST_ROWS
                if is_full:
                    self.lost += len(event.batch)
                    if len(event.batch):
                        self._dropped[event.source] = event.batch.complete_to
                else:
                    self._rows += len(event.batch)
                    if event.source in self._dropped:
                        self._queue.put(Lost(event.source, self._dropped.pop(event.source)))
            if is_full:
                if self._spill is not None:
                    self._spill(event.batch)
                return
        self._queue.put(event)

    def take(self, timeout_s: float) -> list[Event]:
        """All that has come; waits up to `timeout_s` for the first."""
        events: list[Event] = []
        try:
            events.append(self._queue.get(timeout=timeout_s))
            while True:
                events.append(self._queue.get_nowait())
        except Empty:
            pass
        rows = sum(len(e.batch) for e in events if isinstance(e, Came))
        with self._lock:
            self._rows -= rows
            # What was dropped came after all that was taken now, and before what will be taken next.
            events += [Lost(source, upto_ns) for source, upto_ns in self._dropped.items()]
            self._dropped.clear()
        return events


class QuickTurns:
    """While one lasts no reader is held up for long: a driver with little room for frames cannot wait.

    Threads take turns often, and what is there already is not looked through for garbage again and
    again, which would take 40 ms every few seconds. Both are of the whole program: where several
    last at a time, the last one that ends puts them back.
    """

    _lock = threading.Lock()
    _lasting: ClassVar[set[QuickTurns]] = set()
    _before_s = 0.0

    def begin(self) -> None:
        with QuickTurns._lock:
            if not QuickTurns._lasting:
                QuickTurns._before_s = sys.getswitchinterval()
                sys.setswitchinterval(SWITCH_S)
            QuickTurns._lasting.add(self)
            gc.freeze()

    def end(self) -> None:
        """Harmless twice."""
        with QuickTurns._lock:
            if self not in QuickTurns._lasting:
                return
            QuickTurns._lasting.remove(self)
            if not QuickTurns._lasting:
                sys.setswitchinterval(QuickTurns._before_s)
                gc.unfreeze()


class Reader(threading.Thread):
    """Opens a source, reads it, and opens it again with growing waits when it is lost."""

    def __init__(self, source: LiveSource, clock: Clock, inbox: Inbox) -> None:
        super().__init__(name=f"read {source.name}", daemon=True)
        self.source = source
        self._clock = clock
        self._inbox = inbox
        self._stop_now = threading.Event()
        self.failure: BusprobeError | None = None
        """Why the source can never be read: a fault of the bench file."""

    def stop(self) -> None:
        self._stop_now.set()

    def run(self) -> None:
        attempt = 0
        while not self._stop_now.is_set():
            opened: float | None = None
            try:
                self.source.open(self._clock)
                opened = time.monotonic()
                self._inbox.put(Opened(self.source.name))
                while not self._stop_now.is_set():
                    self._inbox.put(Came(self.source.name, self.source.read()))
            except BusprobeError as error:
                self._lost(str(error), is_open=opened is not None)
                if not isinstance(error, DeviceError):
                    self.failure = error
                    return
            except Exception as error:  # a driver may raise anything; the run goes on, and says so
                told = f"{self.source.name}: its driver failed ({type(error).__name__}: {error})."
                self._lost(told, is_open=opened is not None)
            finally:
                with suppress(Exception):  # of a device that is gone; why it is, has been said
                    self.source.close()
            if opened is not None and time.monotonic() - opened >= GOOD_S:
                attempt = 0
            self._stop_now.wait(BACK_OFF_S[min(attempt, len(BACK_OFF_S) - 1)])
            attempt += 1

    def _lost(self, text: str, *, is_open: bool) -> None:
        """Say that the source is gone, and how its connection had been doing: the next one begins anew."""
        health = None
        if is_open:
            with suppress(Exception):  # of a driver that is broken; that it is, is what is being said
                health = self.source.health()
        self._inbox.put(Gone(self.source.name, text, health))


def stop_all(readers: Iterable[Reader], by_s: float) -> None:
    """Stop readers; all of them together are waited for until the monotonic time `by_s`, and those that hang left."""
    stopping = list(readers)
    for reader in stopping:
        reader.stop()
    for reader in stopping:
        if reader.is_alive():
            reader.join(timeout=max(by_s - time.monotonic(), 0.0))
