"""Puts batches into the tables of a recording as whole columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import duckdb
import numpy as np
import numpy.typing as npt

from busprobe.frames import TAIL_WORDS, FrameBatch, InputBatch


def insert_frames(con: duckdb.DuckDBPyConnection, frames: FrameBatch) -> None:
    """Rows of `frames`; the batch's `channel` holds numbers of the table `channels`."""
    columns: dict[str, npt.NDArray[Any]] = {
        "t_ns": frames.t_ns, "channel": frames.channel, "identifier": frames.identifier,
        "flags": frames.flags, "length": frames.length, "payload": frames.payload,
    }  # fmt: skip
    tail = "NULL"
    if frames.tail is not None:
        # Highest byte first, so that the hexadecimal digits of a word come in the order of its bytes.
        words = frames.words()[:, 1:].byteswap()
        columns |= _columns("word", words)
        digits = " || ".join(f"lpad(hex(word{k}), 16, '0')" for k in range(TAIL_WORDS))
        tail = f"CASE WHEN length > 8 THEN unhex(left({digits}, 2 * (length - 8))) END"
    _insert(con, "frames", columns, f"t_ns, channel, identifier, flags, length, payload, {tail}")


def insert_polls(con: duckdb.DuckDBPyConnection, batches: Sequence[InputBatch], boxes: Sequence[int]) -> None:
    """Rows of `inputs`; boxes: for each batch, the number of its box in the table `channels`."""
    sizes = [len(b) for b in batches]
    widths = [-1 if b.analogue is None else b.analogue.shape[1] for b in batches]
    analogue = np.zeros((sum(sizes), max(*widths, 0)), np.int32)
    stop = 0
    for batch, size, width in zip(batches, sizes, widths, strict=True):
        stop += size
        if batch.analogue is not None:
            analogue[stop - size : stop, :width] = batch.analogue
    columns: dict[str, npt.NDArray[Any]] = {
        "t_ns": np.concatenate([b.t_ns for b in batches]),
        "box": np.repeat(np.array(boxes, np.uint8), sizes),
        "mask": np.concatenate([b.mask for b in batches]),
        "width": np.repeat(np.array(widths, np.int64), sizes),
        "late": np.concatenate([np.zeros(len(b), np.bool_) if b.late is None else b.late for b in batches]),
    }
    columns |= _columns("mv", analogue)
    lines = ", ".join(f"mv{k}" for k in range(analogue.shape[1]))
    listed = f"CASE WHEN width >= 0 THEN list_slice([{lines}]::INTEGER[], 1, width) END"
    _insert(con, "inputs", columns, f"t_ns, box, mask, {listed}, late")


def insert_rows(con: duckdb.DuckDBPyConnection, table: str, rows: Sequence[Sequence[Any]]) -> None:
    """A few rows of values."""
    if rows:
        marks = ", ".join("unnest(?)" for _ in rows[0])
        con.execute(f"INSERT INTO {table} SELECT {marks}", [list(column) for column in zip(*rows, strict=True)])


def _insert(con: duckdb.DuckDBPyConnection, table: str, columns: Mapping[str, npt.NDArray[Any]], select: str) -> None:
    con.register("kept", columns)
    con.execute(f"INSERT INTO {table} SELECT {select} FROM kept")
    con.unregister("kept")


def _columns(name: str, array: npt.NDArray[Any]) -> dict[str, npt.NDArray[Any]]:
    """The columns of a (n, k) array as `name0`, `name1` ..."""
    return {f"{name}{k}": np.ascontiguousarray(array[:, k]) for k in range(array.shape[1])}
