"""Windows of a table's rows, and how far the recording is complete after each of them.

Rows stand in the order of arrival, so two channels overlap and stamps may step back:

    window      0        1        2
    t       10 .. 20  18 .. 30  29 .. 40
    complete    18       29       final       the least time that is still to come

A step back of more than 1 s within one channel starts a new segment; what comes after it
does not hold back what came before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import numpy.typing as npt

from busprobe.frames import BoolArray, Int64Array
from busprobe.timeline import FOREVER

STEP_NS = 1_000_000_000
"""A step back longer than this starts a new segment."""

Columns = Mapping[str, npt.NDArray[Any]]


@dataclass(frozen=True)
class Window:
    """Rows `first` to `last` of a table, counted by `rowid`."""

    first: int
    last: int
    complete_to_ns: int | None
    """No later row of the table lies before this time; None where the table says nothing."""
    share: float
    """How much of the table has been read after it."""
    is_final: bool


@dataclass(frozen=True)
class Scan:
    """What a scan for the bounds of a table needs to know of it."""

    source: str
    """The column that tells its channels apart."""
    in_time: str
    """The condition of rows that did not come late."""


def windows(
    con: duckdb.DuckDBPyConnection, table: str, rows: int, final_ns: int | None, scan: Scan | None
) -> list[Window]:
    """Windows of `rows` rows; an empty table has one, empty window.

    final_ns: to what time the table is complete at its end; None: what the scan finds.
    scan: how to find out to what time it is complete after each window; None: leave that open.
    """
    found = con.execute(f"SELECT max(rowid) FROM {table}").fetchone()
    last = found[0] if found and found[0] is not None else -1
    count = max(1, -(-(last + 1) // rows))
    bounds = [*[None] * (count - 1), final_ns] if scan is None else _scanned(con, table, rows, count, final_ns, scan)
    return [Window(k * rows, (k + 1) * rows - 1, bounds[k], (k + 1) / count, k == count - 1) for k in range(count)]


def _scanned(
    con: duckdb.DuckDBPyConnection, table: str, rows: int, count: int, final_ns: int | None, scan: Scan
) -> list[int | None]:
    c = fetch(
        con,
        f"SELECT rowid // {rows} AS number, {scan.source} AS source, min(t_ns) AS low, arg_max(t_ns, rowid) AS last "
        f"FROM {table} WHERE {scan.in_time} GROUP BY ALL ORDER BY ALL",
    )
    if final_ns is None:
        if not len(c["last"]):
            return [None] * count
        final_ns = int(c["last"][c["number"] == c["number"][-1]].max())
    bounds: list[int | None] = complete_after(count, c["number"], c["source"], c["low"], c["last"], final_ns).tolist()
    return bounds


def complete_after(
    count: int, window: Int64Array, source: Int64Array, low: Int64Array, last: Int64Array, final_ns: int
) -> Int64Array:
    """(count,) times: no later row of the same segment lies before it. Late rows are not given.

    window, source, low, last: one entry for each window and channel in it, windows rising,
    with the least and the last time. A bound may be lower than need be, never higher.
    """
    demand = np.full(count, FOREVER, np.int64)
    starts_segment = np.zeros(count, np.bool_)
    newest: dict[int, int] = {}
    for w, s, least, end in zip(window.tolist(), source.tolist(), low.tolist(), last.tolist(), strict=True):
        # Rows that are no step back are at most this old.
        oldest = newest[s] - STEP_NS if s in newest else least
        starts_segment[w] |= least < oldest
        demand[w] = min(demand[w], max(least, oldest))
        newest[s] = end
    return _least_to_come(demand, starts_segment, final_ns)


def _least_to_come(demand: Int64Array, starts_segment: BoolArray, final_ns: int) -> Int64Array:
    """(n,) for each window the least `demand` of those after it, up to the next segment."""
    out = np.empty(len(demand), np.int64)
    ahead = final_ns
    for w in range(len(demand) - 1, -1, -1):
        out[w] = ahead
        ahead = int(demand[w]) if starts_segment[w] else min(ahead, int(demand[w]))
    return out


def fetch(con: duckdb.DuckDBPyConnection, sql: str) -> Columns:
    """The columns of a query, none of which may hold NULL."""
    columns: Columns = con.execute(sql).fetchnumpy()
    return columns
