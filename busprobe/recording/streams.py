"""The tables of a recording as streams of batches, window by window of `rowid`.

DuckDB skips the row groups outside a window, so reading all windows costs what one scan does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, replace

import duckdb
import numpy as np

from busprobe.frames import (
    LATE,
    TAIL_WORDS,
    Batch,
    Condition,
    FrameBatch,
    InputBatch,
    Int32Array,
    Int64Array,
    SourceState,
    StateBatch,
    Tail,
    UInt8Array,
)
from busprobe.recording.health_rows import HEALTH, REQUESTS, health_row, requests_row
from busprobe.recording.windows import Columns, Scan, Window, fetch, windows
from busprobe.timeline import FOREVER

READ_ROWS = 131_072
"""Frames read at once, at least: smaller batches are cut from them."""


@dataclass(frozen=True)
class Source:
    """A channel or an input box of the recording."""

    number: int
    name: str
    complete_to_ns: int | None
    """The last time that the source was recorded to be complete to, if it was."""
    down: bool
    """Whether its last recorded state is down: it then holds nothing back."""


@dataclass(frozen=True)
class Piece:
    """Batches of one stream, and the time to which they bring it."""

    batches: tuple[Batch, ...]
    complete_to_ns: int


def frame_reads(
    con: duckdb.DuckDBPyConnection, channels: Sequence[Source], rows: int, identifiers: Set[int] | None
) -> Iterator[list[Piece]]:
    """The frames, in lists of what is read at once; every batch names all channels."""
    names = tuple(c.name for c in channels)
    numbers = np.array([c.number for c in channels], np.uint8)
    index = None if np.array_equal(numbers, np.arange(len(numbers))) else _inverse(numbers)
    has_tails = con.execute("SELECT 1 FROM frames WHERE tail IS NOT NULL LIMIT 1").fetchone() is not None
    chosen = "" if identifiers is None else f" AND identifier IN ({', '.join(map(str, sorted(identifiers))) or 'NULL'})"
    # Row numbers cost a quarter more time, and are known unless rows are left out.
    counted = has_tails or identifiers is not None or _has_gaps(con)
    columns = "t_ns, channel, identifier, flags, length, payload" + (", rowid" if counted else "")
    # Of one channel alone, later frames count at its newest stamp at least.
    needs_scan = len(channels) > 1 or identifiers is not None
    scan = Scan("channel", f"flags & {LATE} = 0") if needs_scan else None
    cuts = windows(con, "frames", rows, _final(channels), scan)
    newest = None
    for part in _parts(cuts, max(1, READ_ROWS // rows)):
        first = part[0].first
        where = f"WHERE rowid BETWEEN {first} AND {part[-1].last}{chosen}"
        c = fetch(con, f"SELECT {columns} FROM frames {where}")
        rowid = c["rowid"] if counted else np.arange(first, first + len(c["t_ns"]))
        tail = tail_of(con, where, rowid) if has_tails else None
        whole = FrameBatch(
            c["t_ns"], names, c["channel"] if index is None else index[c["channel"]], c["identifier"],
            c["flags"], c["length"], c["payload"], tail,
        )  # fmt: skip
        starts = np.searchsorted(rowid, [w.first for w in part]).tolist()
        pieces = []
        for window, start, stop in zip(part, starts, [*starts[1:], len(whole)], strict=True):
            batch = whole.cut(start, stop)
            newest = _newest(batch, newest)
            complete = newest if window.complete_to_ns is None else window.complete_to_ns
            pieces.append(Piece((replace(batch, complete_to_ns=complete, share=window.share),), _reached(complete)))
        yield pieces


def input_pieces(con: duckdb.DuckDBPyConnection, boxes: Sequence[Source], rows: int) -> Iterator[Piece]:
    """The polls; every piece has a batch of each box, an empty one too."""
    row = con.execute("SELECT coalesce(max(len(analogue)), 0) FROM inputs").fetchone()
    widest = row[0] if row else 0
    lines = "".join(f", coalesce(analogue[{k + 1}], 0) AS mv{k}" for k in range(widest))
    for window in windows(con, "inputs", rows, None, Scan("box", "NOT late")):
        c = fetch(
            con,
            f"SELECT t_ns, box, mask, late, coalesce(len(analogue), -1) AS width{lines} "
            f"FROM inputs WHERE rowid BETWEEN {window.first} AND {window.last}",
        )
        batches: list[Batch] = []
        for box in boxes:
            batches += _polls(c, box, window)
        yield Piece(tuple(batches), _reached(window.complete_to_ns))


def state_pieces(con: duckdb.DuckDBPyConnection, rows: int, end_ns: int | None) -> Iterator[Piece]:
    """The source states in time order; the last batch is complete to the recording's end."""
    known = [HEALTH, REQUESTS, *(c.value for c in Condition)]
    found = con.execute(
        "SELECT t_ns, source, condition, note FROM states WHERE list_contains(?, condition) ORDER BY t_ns, rowid",
        [known],
    ).fetchall()
    for start in range(0, max(len(found), 1), rows):
        part = found[start : start + rows]
        is_final = start + rows >= len(found)
        complete = end_ns if is_final else found[start + rows][0]
        told = (HEALTH, REQUESTS)
        states = [SourceState(t, who, Condition(what), note) for t, who, what, note in part if what not in told]
        healths = [health_row(t, who, note) for t, who, what, note in part if what == HEALTH]
        requests = [requests_row(t, who, note) for t, who, what, note in part if what == REQUESTS]
        known_healths = tuple(row for row in healths if row is not None)
        known_requests = tuple(row for row in requests if row is not None)
        yield Piece((StateBatch(tuple(states), complete, known_healths, known_requests),), _reached(complete))


def _newest(batch: FrameBatch, before: int | None) -> int | None:
    """Stamp of the last frame that did not come late, else `before`."""
    in_time = np.flatnonzero((batch.flags & LATE) == 0)
    return int(batch.t_ns[in_time[-1]]) if len(in_time) else before


def _has_gaps(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether somebody has deleted frames."""
    return con.execute("SELECT count(*) <> coalesce(max(rowid) + 1, 0) FROM frames").fetchone() == (True,)


def _parts(cuts: Sequence[Window], size: int) -> Iterator[Sequence[Window]]:
    for start in range(0, len(cuts), size):
        yield cuts[start : start + size]


def _final(channels: Sequence[Source]) -> int | None:
    """To what time all channels that were up at the end are complete, as recorded."""
    up = [c.complete_to_ns for c in channels if c.complete_to_ns is not None and not c.down]
    down = [c.complete_to_ns for c in channels if c.complete_to_ns is not None and c.down]
    return min(up) if up else max(down, default=None)


def tail_of(con: duckdb.DuckDBPyConnection, where: str, rowid: Int64Array) -> Tail | None:
    c = fetch(con, f"SELECT rowid, length, tail FROM frames {where} AND tail IS NOT NULL")
    count = len(c["rowid"])
    if not count:
        return None
    octets = np.zeros((count, 8 * TAIL_WORDS), np.uint8)
    sizes = c["length"].astype(np.int64) - 8
    for size in np.unique(sizes).tolist():
        same = np.flatnonzero(sizes == size)
        octets[same, :size] = np.frombuffer(b"".join(c["tail"][same]), np.uint8).reshape(-1, size)
    return Tail(np.searchsorted(rowid, c["rowid"]).astype(np.int64), octets.view("<u8").astype(np.uint64))


def _polls(c: Columns, box: Source, window: Window) -> list[InputBatch]:
    """The polls of one box in a window: one batch, or one for each run of equally many analogue lines."""
    rows = np.flatnonzero(c["box"] == box.number)
    complete = window.complete_to_ns
    if window.is_final and box.complete_to_ns is not None:
        complete = box.complete_to_ns
    if not len(rows):
        return [InputBatch(box.name, c["t_ns"][rows], c["mask"][rows], None, None, complete, window.share)]
    widths = c["width"][rows]
    runs = np.split(rows, np.flatnonzero(np.diff(widths)) + 1)
    before = int(c["t_ns"][rows].min())
    batches = []
    for k, run in enumerate(runs):
        width = int(c["width"][run[0]])
        analogue = None if width < 0 else _millivolts(c, run, width)
        late = c["late"][run]
        batches.append(
            InputBatch(
                box.name, c["t_ns"][run], c["mask"][run], analogue, late if late.any() else None,
                complete if k == len(runs) - 1 else before, window.share,
            )
        )  # fmt: skip
    return batches


def _millivolts(c: Columns, rows: Int64Array, width: int) -> Int32Array:
    out = np.empty((len(rows), width), np.int32)
    for k in range(width):
        out[:, k] = c[f"mv{k}"][rows]
    return out


def _inverse(numbers: UInt8Array) -> UInt8Array:
    """Channel number -> index into the names of a batch."""
    index = np.zeros(256, np.uint8)
    index[numbers] = np.arange(len(numbers), dtype=np.uint8)
    return index


def _reached(complete_to_ns: int | None) -> int:
    return FOREVER if complete_to_ns is None else complete_to_ns
