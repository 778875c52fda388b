"""Damage within a recording: which rows of a table can still be read.

Every block of a DuckDB file carries a checksum, and a query that meets a block whose sum is wrong,
or that lies past the end of the file, fails as a whole. Rows elsewhere are found by halving:

    rows      0 ........................ 1,599,999      fails
              0 ..... 799,999 | 800,000 .........       fails | can be read
              ...
    bad                  710,656 .. 720,895
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass

import duckdb

from busprobe.recording.schema import TABLES
from busprobe.recording.trouble import is_damage

LARGE = ("frames", "inputs")
"""The tables that grow with all that comes."""
GRAIN = 2048
"""Rows that DuckDB takes at once: of fewer none can be read where one cannot."""
MOST_LOOKS = 2_000
"""Ranges tried at most, a few seconds: where very much is bad, what remains is not looked at more closely."""


@dataclass(frozen=True)
class Hole:
    """Rows of `frames` or `inputs` that cannot be read."""

    table: str
    rows: int
    """0: of a table of which not even the number of rows can be told."""
    begin_ns: int
    """The first instant of which nothing is known."""
    end_ns: int | None
    """The first instant after it; None: nothing follows."""


@dataclass(frozen=True)
class Damage:
    """What of a recording cannot be read."""

    holes: tuple[Hole, ...]
    """In order of their rows, those of frames first."""
    rows: dict[str, int]
    """Of `frames` and `inputs`, how many were recorded, bad ones too; 0 where that cannot be told."""
    tables: tuple[str, ...]
    """The other tables of which something cannot be read."""
    is_log_cut: bool = False
    """The log beside the file could be taken in only in part: the end is missing."""


def is_whole(con: duckdb.DuckDBPyConnection, tables: Iterable[str] = TABLES) -> bool:
    """Whether every row of these tables can be read: all are, 10 million in a tenth of a second."""
    return all(_can_read(con, table) for table in tables)


def count_of(con: duckdb.DuckDBPyConnection, table: str) -> int | None:
    """Row numbers of a table that were given out; None where not even that can be told."""
    try:
        found = con.execute(f"SELECT coalesce(max(rowid) + 1, 0) FROM {table}").fetchone()
    except duckdb.Error as error:
        _refuse_other(error)
        return None
    return int(found[0]) if found else 0


def bad_rows(con: duckdb.DuckDBPyConnection, table: str, count: int) -> list[range]:
    """The rows, of `count`, that cannot be read: rising, with others between them."""
    if not count or _can_read(con, table):
        return []
    looks, bad = 0, []
    largest = [(-count, 0, count)]
    while largest:
        _, start, stop = heapq.heappop(largest)
        if stop - start <= GRAIN or looks >= MOST_LOOKS:
            bad.append(range(start, stop))
            continue
        middle = start + -(-(stop - start) // (2 * GRAIN)) * GRAIN
        for low, high in ((start, middle), (middle, stop)):
            looks += 1
            if not _can_read(con, f"{table} WHERE rowid BETWEEN {low} AND {high - 1}"):
                heapq.heappush(largest, (low - high, low, high))
    return _joined(bad)


def between(bad: Iterable[range], count: int) -> list[range]:
    """The other rows of `count`."""
    good, start = [], 0
    for part in bad:
        good.append(range(start, part.start))
        start = part.stop
    return [part for part in (*good, range(start, count)) if part]


def _joined(parts: Iterable[range]) -> list[range]:
    joined: list[range] = []
    for part in sorted(parts, key=lambda p: p.start):
        if joined and joined[-1].stop == part.start:
            joined[-1] = range(joined[-1].start, part.stop)
        else:
            joined.append(part)
    return joined


def _can_read(con: duckdb.DuckDBPyConnection, rows: str) -> bool:
    try:
        con.execute(f"SELECT bit_xor(hash(COLUMNS(*))) FROM {rows}").fetchall()
    except duckdb.Error as error:
        _refuse_other(error)
        return False
    return True


def _refuse_other(error: duckdb.Error) -> None:
    """Raise an error that tells of no damage."""
    if not is_damage(error):
        raise error
