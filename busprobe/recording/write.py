"""Writes a recording: batches in, rows of one DuckDB file out.

Rows are kept back until `commit` and then go in together, so a caller may add a batch
every 50 ms and commit twice a second. What was committed survives a killed process: it
is in the log beside the file (`.wal`) until a checkpoint moves it into the file.

While a recording is written, the same process must not open the file a second time, not
even to look at its first bytes: on Linux and macOS that would end the lock on it.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from types import TracebackType

import duckdb
import numpy as np
import numpy.typing as npt

from busprobe.errors import OpenError
from busprobe.frames import LATE, Batch, FrameBatch, InputBatch, StateBatch, join_frames
from busprobe.recording.health_rows import HEALTH, REQUESTS, health_note, requests_note
from busprobe.recording.inserts import insert_frames, insert_polls, insert_rows
from busprobe.recording.schema import (
    ATTACH_OPTIONS,
    BOX,
    BUS,
    COMPLETE_TO,
    FORMAT,
    LATE_COUNT,
    create_statements,
    quoted,
    wal_of,
)
from busprobe.recording.trouble import told
from busprobe.results import LogLine

FLUSH_ROWS = 500_000
"""Rows kept back at most before they are written, though not committed."""

SPARE_BYTES = 64 * 1024 * 1024
"""Free space that a checkpoint must leave beside twice the size of the log."""

_StateRow = tuple[int, str, str, str, int | None]


class RecordingWriter:
    """One recording being written. Not for use by two threads at once."""

    def __init__(
        self, path: Path, *, about: Mapping[str, str], bench: Mapping[str, str], overwrite: bool = False
    ) -> None:
        """Creates the file with its `about` and `bench` texts, committed.

        Raises OpenError where the file is there already (unless `overwrite`) or cannot be made.
        """
        self.path = path
        _make_room(path, overwrite)
        self._numbers: dict[tuple[str, str], int] = {}
        self._frames: list[FrameBatch] = []
        self._inputs: list[InputBatch] = []
        self._kept = 0
        self._states: list[_StateRow] = []
        self._log: list[LogLine] = []
        self._complete: dict[str, int] = {}
        self._late: dict[str, tuple[int, int]] = {}
        with told(path):
            self._con: duckdb.DuckDBPyConnection | None = _create(path)
            insert_rows(self._con, "about", [("format", str(FORMAT)), *about.items()])
            insert_rows(self._con, "bench", list(bench.items()))
        # From now on the file is a recording even where somebody copies it without its log.
        self.checkpoint()

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def wal_bytes(self) -> int:
        """Size of the log beside the file: what a checkpoint would move into it."""
        return size_of(wal_of(self.path))

    def used_bytes(self) -> int:
        """Size of all that is recorded: room in the file that can be used again does not count."""
        with told(self.path):
            rows = self._connection.execute(
                "SELECT used_blocks * block_size FROM pragma_database_size() WHERE database_name = 'recording'"
            ).fetchall()
        return sum(int(size) for (size,) in rows) + self.wal_bytes

    def add(self, batch: Batch) -> None:
        """Keeps a batch for the next commit; its arrays must not be changed after."""
        match batch:
            case FrameBatch():
                self._add_frames(batch)
            case InputBatch():
                self._add_inputs(batch)
            case StateBatch():
                self._states += [(row.t_ns, row.source, row.condition.value, row.note, None) for row in batch.rows]
                self._states += [(row.t_ns, row.source, HEALTH, health_note(row.health), None) for row in batch.healths]
                self._states += [
                    (row.t_ns, row.requests.bus, REQUESTS, requests_note(row.requests), None) for row in batch.requests
                ]
                self._reached(("",), batch.complete_to_ns)
        if self._kept >= FLUSH_ROWS:
            self._flush()

    def add_events(self, log: Iterable[LogLine]) -> None:
        """Keeps lines of the log for the next commit."""
        self._log += log

    def commit(self) -> None:
        """Writes all that was added; a process killed after this loses none of it."""
        self._flush()
        with told(self.path):
            self._connection.commit()
            self._connection.begin()

    def checkpoint(self) -> bool:
        """Commits, and moves the log into the file; False where the disk has too little room for that."""
        self.commit()
        if not has_room_for_checkpoint(self.path):
            return False
        with told(self.path):
            self._connection.commit()
            self._connection.execute("CHECKPOINT recording")
            self._connection.begin()
        return True

    def drop_oldest(self, share: float) -> int | None:
        """Drops the oldest share (0 to 1) of frames and polls; the room is used again.

        Returns the time before which all is gone, None where there is nothing to drop. It is
        kept in `about` under "dropped_before_ns".
        """
        self.commit()
        with told(self.path):
            cut: int | None = None
            for table in ("frames", "inputs"):
                rows = self._connection.execute(
                    f"SELECT t_ns FROM {table} LIMIT 1 OFFSET (SELECT (count(*) * {share})::BIGINT FROM {table})"
                ).fetchall()
                if rows:
                    cut = rows[0][0]
                    break
            if cut is None:
                return None
            for table in ("frames", "inputs"):
                self._connection.execute(f"DELETE FROM {table} WHERE t_ns < ?", [cut])
            self._connection.execute("DELETE FROM about WHERE key = 'dropped_before_ns'")
            self._connection.execute("INSERT INTO about VALUES ('dropped_before_ns', ?)", [str(cut)])
        self.checkpoint()
        return cut

    def close(self) -> None:
        """Commits, makes a checkpoint and closes. Closing twice is allowed."""
        if self._con is None:
            return
        try:
            self.checkpoint()
        finally:
            self._con.close()
            self._con = None

    @property
    def _connection(self) -> duckdb.DuckDBPyConnection:
        if self._con is None:
            raise ValueError("the recording is closed")
        return self._con

    def _add_frames(self, batch: FrameBatch) -> None:
        numbers = np.array([self._number(name, BUS) for name in batch.channels], np.uint8)
        self._reached(batch.channels, batch.complete_to_ns)
        if not len(batch):
            return
        late = batch.flags & LATE != 0
        if late.any():
            for k, name in enumerate(batch.channels):
                self._came_late(name, batch.t_ns[late & (batch.channel == k)])
        self._frames.append(replace(batch, channel=numbers[batch.channel], channels=()))
        self._kept += len(batch)

    def _add_inputs(self, batch: InputBatch) -> None:
        self._number(batch.box, BOX)
        self._reached((batch.box,), batch.complete_to_ns)
        if not len(batch):
            return
        if batch.late is not None:
            self._came_late(batch.box, batch.t_ns[batch.late])
        self._inputs.append(batch)
        self._kept += len(batch)

    def _number(self, name: str, kind: str) -> int:
        """The number of a channel or box; a new one gets its row of `channels` at once."""
        number = self._numbers.get((name, kind))
        if number is None:
            number = self._numbers[name, kind] = len(self._numbers)
            with told(self.path):
                insert_rows(self._connection, "channels", [(number, name, kind)])
        return number

    def _reached(self, sources: Iterable[str], complete_to_ns: int | None) -> None:
        if complete_to_ns is not None:
            self._complete.update(dict.fromkeys(sources, complete_to_ns))

    def _came_late(self, source: str, t_ns: npt.NDArray[np.int64]) -> None:
        if len(t_ns):
            count, newest = self._late.get(source, (0, int(t_ns[0])))
            self._late[source] = (count + len(t_ns), max(newest, int(t_ns.max())))

    def _flush(self) -> None:
        """Inserts all that was kept back into the open transaction."""
        self._states += [(t, source, LATE_COUNT, "", count) for source, (count, t) in self._late.items()]
        self._states += [(t, source, COMPLETE_TO, "", None) for source, t in self._complete.items()]
        events = [(e.t_ns, e.decided_ns, e.rank, e.kind, e.name, e.text) for e in self._log]
        con = self._connection
        with told(self.path):
            if self._frames:
                insert_frames(con, join_frames(self._frames))
            if self._inputs:
                insert_polls(con, self._inputs, [self._number(b.box, BOX) for b in self._inputs])
            insert_rows(con, "states", self._states)
            insert_rows(con, "events", events)
        self._frames, self._inputs, self._states, self._log, self._kept = [], [], [], [], 0
        self._late, self._complete = {}, {}


def has_room_for_checkpoint(path: Path) -> bool:
    """Whether the disk has the room that moving the log beside a recording into it may take."""
    return shutil.disk_usage(path.absolute().parent).free >= 2 * size_of(wal_of(path)) + SPARE_BYTES


def checkpoint_on_demand(con: duckdb.DuckDBPyConnection) -> None:
    """Let no checkpoint be made by itself: one that runs out of room makes the whole recording useless."""
    con.execute("SET checkpoint_threshold = '1TB'")
    con.execute("PRAGMA disable_checkpoint_on_shutdown")


def size_of(path: Path) -> int:
    """Size of a file, 0 where it is not, or no longer, there."""
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def refuse_target(path: Path, overwrite: bool = False) -> None:
    """Raise OpenError where nothing can be recorded to `path`; with `overwrite` an earlier file may be there."""
    if not path.parent.is_dir():
        raise OpenError("The folder to record in does not exist.", path=path, hint="Make the folder first.")
    if path.is_dir():
        raise OpenError("This is a folder.", path=path, hint="Name a file in it to record to.")
    for there in (path, wal_of(path)):
        if there.exists() and not overwrite:
            raise OpenError("The file is there already.", path=there, hint="Choose another name, or remove it first.")


def _make_room(path: Path, overwrite: bool) -> None:
    """Sees to it that neither the file nor a log of an earlier one is there."""
    refuse_target(path, overwrite)
    for there in (path, wal_of(path)):
        there.unlink(missing_ok=True)


def _create(path: Path) -> duckdb.DuckDBPyConnection:
    """An empty recording, in an open transaction."""
    con = duckdb.connect(config={"threads": 2, "memory_limit": "1GB", "temp_directory": f"{path}.tmp"})
    checkpoint_on_demand(con)
    con.execute(f"ATTACH {quoted(str(path))} AS recording ({ATTACH_OPTIONS})")
    con.execute("USE recording")
    con.begin()
    for statement in create_statements():
        con.execute(statement)
    return con
