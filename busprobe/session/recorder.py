"""The recorder: a thread that writes a live run to its file, with a queue of its own.

What matters most comes first: a batch is in the recorder's queue before the engine sees it.
The thread commits about every 0.6 s, so a killed process loses no more than that; every 30 s
it moves what was committed from the log beside the file into the file. It stops by
itself, cleanly, when the disk is nearly full or fails; the run goes on without it.
"""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Protocol

from busprobe.errors import BusprobeError, OpenError, said
from busprobe.frames import Batch, StateBatch
from busprobe.recording.write import RecordingWriter, size_of
from busprobe.results import LogLine

COMMIT_S = 0.45
LEAST_FREE = 200 * 1024 * 1024
"""Recording stops below this much free space."""
LEAST_TO_BEGIN = LEAST_FREE
"""Without as much it does not begin."""
RING_STEP = 0.1
"""Of a full ring, the share that is dropped at least."""
CHECKPOINT_BYTES = 64 * 1024 * 1024
"""The log beside the file is moved into it when it has grown to this."""
CHECKPOINT_S = 30.0
"""... or after this time: a file copied without its log lacks no more."""


def refuse_full_disk(path: Path) -> None:
    """Raise OpenError where the disk is so full already that recording to `path` would stop at once."""
    folder = path.absolute().parent
    if folder.is_dir() and (free := shutil.disk_usage(folder).free) < LEAST_TO_BEGIN:
        raise OpenError(
            f"only {free // 1024**2} MB are free on this disk, and recording needs {LEAST_TO_BEGIN // 1024**2} MB.",
            path=path,
            hint="Make room, or record to another disk.",
        )


@dataclass(frozen=True)
class RecorderStatus:
    path: Path
    rows: int
    """Frames and polls committed."""
    waiting: int
    """Batches that wait to be written."""
    bytes: int
    free: int
    dropped_before_ns: int | None = None
    """Of a ring: all before this time has been dropped."""
    failure: str = ""
    """Why recording stopped before its end; empty while all is well."""


class Recording(Protocol):
    """What a live run needs of a recorder."""

    def put(self, batch: Batch) -> None: ...
    def put_lines(self, lines: Sequence[LogLine]) -> None: ...


class Recorder(threading.Thread):
    """Call `start`, `put` and `put_lines` from one other thread, then `stop`."""

    def __init__(
        self,
        path: Path,
        *,
        about: Mapping[str, str],
        bench: Mapping[str, str],
        overwrite: bool = False,
        ring_bytes: int | None = None,
    ) -> None:
        super().__init__(name="record", daemon=True)
        refuse_full_disk(path)
        self.path = path
        self._writer = RecordingWriter(path, about=about, bench=bench, overwrite=overwrite)
        self._queue: SimpleQueue[Batch | Sequence[LogLine]] = SimpleQueue()
        self._stop_now = threading.Event()
        self._rows = 0
        self._failure = ""
        self._over = False
        """Nobody takes from the queue any more."""
        self._ring = ring_bytes
        self._dropped_before: int | None = None
        self._checkpoint_by = time.monotonic() + CHECKPOINT_S
        self._checkpoint_at = CHECKPOINT_BYTES if ring_bytes is None else min(CHECKPOINT_BYTES, ring_bytes // 8)

    def put(self, batch: Batch) -> None:
        if not self._over:
            self._queue.put(batch)

    def put_lines(self, lines: Sequence[LogLine]) -> None:
        if not self._over:
            self._queue.put(tuple(lines))

    def status(self) -> RecorderStatus:
        try:
            size = size_of(self.path) + self._writer.wal_bytes
            free = shutil.disk_usage(self.path.parent).free
        except OSError:  # the disk is gone, which the failure says
            size = free = 0
        return RecorderStatus(
            self.path, self._rows, self._queue.qsize(), size, free, self._dropped_before, self._failure
        )

    def end(self) -> None:
        """Write what waits and close the file, without waiting for it: the thread lives until that is done."""
        self._stop_now.set()

    def stop(self) -> RecorderStatus:
        """Write what waits, close the file, and say how it went."""
        self.end()
        if self.is_alive():
            self.join()
        return self.status()

    def discard_if_empty(self) -> None:
        """Stop, and leave no file where nothing came to be recorded: its name can be used again."""
        if not self.stop().rows:
            self.path.unlink(missing_ok=True)

    def run(self) -> None:
        self._told(self._record)
        self._over = True
        self._told(self._writer.close)

    def _told(self, do: Callable[[], object]) -> None:
        """Whatever goes wrong in it, somebody has to be told that nothing is recorded any more."""
        try:
            do()
        except Exception as error:
            self._failure = self._failure or self._said(error)

    def _record(self) -> None:
        while not self._stop_now.is_set():
            self._write(time.monotonic() + COMMIT_S)
            if shutil.disk_usage(self.path.parent).free < LEAST_FREE:
                self._failure = (
                    f"less than {LEAST_FREE // 1024**2} MB free on the disk of {self.path.name}: recording stopped."
                )
                return
            self._make_room()
        self._write(0.0)

    def _write(self, until: float) -> None:
        """Take what comes up to a time, then commit it."""
        rows = 0
        while True:
            try:
                item = self._queue.get(timeout=max(0.0, min(0.1, until - time.monotonic())))
            except Empty:
                if time.monotonic() >= until or self._stop_now.is_set():
                    break
                continue
            if isinstance(item, tuple | list):
                self._writer.add_events(item)
                continue
            assert not isinstance(item, Sequence)
            self._writer.add(item)
            rows += 0 if isinstance(item, StateBatch) else len(item)
            if until and time.monotonic() >= until:
                break
        self._writer.commit()
        self._rows += rows

    def _make_room(self) -> None:
        """Of a full ring drop the oldest part; move a grown log into the file."""
        used = 0 if self._ring is None else self._writer.used_bytes()
        if self._ring is not None and used > self._ring:
            dropped = self._writer.drop_oldest(max(RING_STEP, 1 - (1 - RING_STEP) * self._ring / used))
            self._dropped_before = self._dropped_before if dropped is None else dropped
        elif self._writer.wal_bytes > self._checkpoint_at or time.monotonic() >= self._checkpoint_by:
            self._writer.checkpoint()
            self._checkpoint_by = time.monotonic() + CHECKPOINT_S

    def _said(self, error: Exception) -> str:
        return str(error) if isinstance(error, BusprobeError) else f"{self.path.name}: {said(error)}"


def not_closed_yet() -> list[Recorder]:
    """All that write yet, or whose files are being closed."""
    return [thread for thread in threading.enumerate() if isinstance(thread, Recorder)]
