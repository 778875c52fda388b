"""Reads a recording as batches, in the order and with the stamps that it was recorded with.

Frames, polls and source states come interleaved so that their times advance together:
the next batch is always one of the source that is complete to the least time so far.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping, Set
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Any

from busprobe.errors import FormatError, OpenError
from busprobe.frames import Batch, Condition, FrameBatch, empty_frames
from busprobe.recording import lookup
from busprobe.recording.damage import LARGE, is_whole
from busprobe.recording.marking import append_marker
from busprobe.recording.mending import Opened, open_whole_or_rest, rest_of
from busprobe.recording.opening import connect, looks_like
from busprobe.recording.schema import BOX, BUS, COMPLETE_TO, TABLES
from busprobe.recording.streams import Piece, Source, frame_reads, input_pieces, state_pieces
from busprobe.recording.trouble import told
from busprobe.results import LogLine
from busprobe.timeline import NEVER

__all__ = ["Recording", "looks_like", "open_recording"]

_ENDED = f"""
    SELECT source,
           max(t_ns) FILTER (condition = '{COMPLETE_TO}'),
           arg_max(condition, rowid) FILTER (condition IN ('{Condition.UP.value}', '{Condition.DOWN.value}'))
    FROM states GROUP BY source"""
"""Of each source: to what time it is complete, and its last condition."""

INPUT_SHARE = 16
"""An input box is polled less often than frames come: its batches have this many times fewer rows."""


def open_recording(path: Path, *, at_once: bool = False) -> Recording:
    """Opens a recording read-only.

    Of a damaged one all that can be read is there, and `damage` tells the rest. at_once: do not look
    for damage of frames and polls before `look_through`. Raises OpenError (missing, empty, a folder,
    no recording, in use, too new) or FormatError (so damaged that nothing can be read).
    """
    small = [table for table in TABLES if table not in LARGE]
    opened = open_whole_or_rest(path, small if at_once else TABLES)
    return Recording(path, opened, is_looked_through=not at_once or opened.damage is not None)


class Recording:
    """An open recording."""

    def __init__(self, path: Path, opened: Opened, *, is_looked_through: bool) -> None:
        self.path = path
        self._is_looked_through = is_looked_through
        self._lock = threading.Lock()
        """Held while somebody looks a time up, and while the file is opened anew."""
        self._take(opened)

    def _take(self, opened: Opened) -> None:
        self._con, self._directory, self.damage = opened
        with told(self.path):
            self.about: Mapping[str, str] = MappingProxyType(dict(self._all("SELECT key, value FROM about")))
            self.bench: Mapping[str, str] = MappingProxyType(dict(self._all("SELECT name, text FROM bench")))
            ended = {source: (complete, condition) for source, complete, condition in self._all(_ENDED)}
            self._buses = self._sources(BUS, ended)
            self._boxes = self._sources(BOX, ended)
            ((self.frame_count,),) = self._all("SELECT count(*) FROM frames")
            ((self.poll_count,),) = self._all("SELECT count(*) FROM inputs")
            ((first, last),) = self._all(
                "SELECT min(low), max(high) FROM (SELECT min(t_ns) AS low, max(t_ns) AS high FROM frames "
                "UNION ALL SELECT min(t_ns), max(t_ns) FROM inputs)"
            )
        start = self.about.get("start_ns", first)
        self.start_ns: int | None = None if start is None else int(start)
        ends = [s.complete_to_ns for s in self._buses + self._boxes] + [last, ended.get("", (None, None))[0]]
        self.end_ns: int | None = max((e for e in ends if e is not None), default=None)

    def __enter__(self) -> Recording:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the channels, in the order in which they were first recorded."""
        return tuple(s.name for s in self._buses)

    @property
    def boxes(self) -> tuple[str, ...]:
        """Names of the input boxes, likewise."""
        return tuple(s.name for s in self._boxes)

    def events(self, *kinds: str) -> tuple[LogLine, ...]:
        """The log that was written while recording, in its order. kinds: only events of these; none: all."""
        sql = "SELECT decided_ns, t_ns, rank, kind, name, text FROM events"
        with told(self.path):
            if kinds:
                rows = self._con.execute(f"{sql} WHERE list_contains(?, kind) ORDER BY rowid", [list(kinds)]).fetchall()
            else:
                rows = self._all(f"{sql} ORDER BY rowid")
        return tuple(LogLine(*row) for row in rows)

    def look_through(self) -> None:
        """Look for damage of frames and polls, where that was not done on opening; before any batch is read."""
        if self._is_looked_through:
            return
        with told(self.path):
            whole = is_whole(self._con.cursor(), LARGE)
        if not whole:
            with self._lock:
                self._con.close()
                self._take(rest_of(self.path, self.path))
        self._is_looked_through = True

    def batches(self, batch_rows: int = 131_072, *, identifiers: Set[int] | None = None) -> Iterator[Batch]:
        """All that was recorded, in batches of at most `batch_rows` rows.

        identifiers: leave out the frames with any other identifier; the times to which
        batches are complete stay those of all frames.
        """
        streams: list[Iterator[Piece]] = [state_pieces(self._con.cursor(), batch_rows, self.end_ns)]
        if self._boxes:
            streams.append(input_pieces(self._con.cursor(), self._boxes, max(1, batch_rows // INPUT_SHARE)))
        if self._buses:
            reads = frame_reads(self._con.cursor(), self._buses, batch_rows, identifiers)
            streams.append(chain.from_iterable(_one_ahead(reads)))
        with told(self.path):
            yield from _in_step(streams)

    def frames_between(self, after_ns: int, upto_ns: int) -> FrameBatch:
        """Frames with after < t <= upto that were not late, in order of time."""
        with self._lock, self._perhaps_damaged():
            return lookup.frames_between(self._con.cursor(), self._buses, after_ns, upto_ns)
        return empty_frames(self.channels)

    def frame_time_next_to(self, t_ns: int, direction: int) -> int | None:
        """Time of the first frame after `t_ns` (1) or the last one before it (-1)."""
        with self._lock, self._perhaps_damaged():
            return lookup.frame_time_next_to(self._con.cursor(), t_ns, direction)
        return None

    def add_marker(self, t_ns: int, note: str) -> None:
        """Keep a marker in the recording, which is opened for writing for that moment.

        No batches may be read meanwhile. Raises OpenError where the file cannot be written; to a
        damaged one nothing is.
        """
        if self.damage is not None:
            raise OpenError("The recording is damaged, so no marker is kept in it.", path=self.path)
        with self._lock:
            self._con.close()
            try:
                append_marker(self.path, t_ns, note)
            finally:
                self._con = connect(self.path)

    def close(self) -> None:
        self._con.close()
        if self._directory is not None:
            self._directory.cleanup()

    @contextmanager
    def _perhaps_damaged(self) -> Iterator[None]:
        """What has not been looked through yet may be damaged: then there is nothing to be found so far."""
        try:
            with told(self.path):
                yield
        except FormatError:
            if self._is_looked_through:
                raise

    def _all(self, sql: str) -> list[Any]:
        return self._con.execute(sql).fetchall()

    def _sources(self, kind: str, ended: Mapping[str, tuple[int | None, str | None]]) -> tuple[Source, ...]:
        rows = self._con.execute("SELECT number, name FROM channels WHERE kind = ? ORDER BY number", [kind]).fetchall()
        sources = []
        for number, name in rows:
            complete, condition = ended.get(name, (None, None))
            sources.append(Source(number, name, complete, condition == Condition.DOWN.value))
        return tuple(sources)


def _in_step(streams: list[Iterator[Piece]]) -> Iterator[Batch]:
    """The batches of all streams; next comes always the stream that is complete to the least time."""
    reached = [(NEVER, k) for k in range(len(streams))]
    while reached:
        least = min(reached)
        reached.remove(least)
        piece = next(streams[least[1]], None)
        if piece is not None:
            yield from piece.batches
            reached.append((piece.complete_to_ns, least[1]))


def _one_ahead(reads: Iterator[list[Piece]]) -> Iterator[list[Piece]]:
    """The same, the next read going on in a thread while the pieces of one are in use."""
    with ThreadPoolExecutor(1) as reader:
        coming = reader.submit(next, reads, None)
        while (pieces := coming.result()) is not None:
            coming = reader.submit(next, reads, None)
            yield pieces
