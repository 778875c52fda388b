"""Frames of a recording by time, for looking back, and markers set afterwards."""

from __future__ import annotations

from collections.abc import Sequence

import duckdb
import numpy as np

from busprobe.frames import ERROR, LATE, FrameBatch, Tail, empty_frames
from busprobe.recording.streams import Source, tail_of
from busprobe.recording.windows import fetch

_ON_TIME = f"flags & {LATE} = 0"


def frames_between(
    con: duckdb.DuckDBPyConnection, channels: Sequence[Source], after_ns: int, upto_ns: int
) -> FrameBatch:
    """Frames with after < t <= upto that were not late, in order of time."""
    names = tuple(c.name for c in channels)
    where = f"WHERE t_ns > {after_ns} AND t_ns <= {upto_ns} AND {_ON_TIME}"
    c = fetch(con, f"SELECT t_ns, channel, identifier, flags, length, payload, rowid FROM frames {where}")
    if not len(c["t_ns"]):
        return empty_frames(names)
    index = np.zeros(256, np.uint8)
    index[[s.number for s in channels]] = np.arange(len(channels))
    tail: Tail | None = None
    if (c["length"] > 8).any():
        tail = tail_of(con, where, c["rowid"])
    batch = FrameBatch(
        c["t_ns"], names, index[c["channel"]], c["identifier"], c["flags"], c["length"], c["payload"], tail
    )
    return batch if (np.diff(batch.t_ns) >= 0).all() else batch.in_time_order()


def frame_time_next_to(con: duckdb.DuckDBPyConnection, t_ns: int, direction: int) -> int | None:
    """Time of the first frame after `t_ns` (1) or the last one before it (-1)."""
    pick, sign, order = ("min", ">", "<=") if direction > 0 else ("max", "<", ">=")
    where = f"{_ON_TIME} AND flags & {ERROR} = 0 AND t_ns {sign} {t_ns}"
    for reach in (1_000_000_000, 60_000_000_000):
        row = con.execute(
            f"SELECT {pick}(t_ns) FROM frames WHERE {where} AND t_ns {order} {t_ns + direction * reach}"
        ).fetchone()
        if row is not None and row[0] is not None:
            return int(row[0])
    row = con.execute(f"SELECT {pick}(t_ns) FROM frames WHERE {where}").fetchone()
    return None if row is None or row[0] is None else int(row[0])
