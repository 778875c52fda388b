"""Writes decoded samples in long format, one row a sample, as CSV or Parquet.

    time_s, channel, message, signal, raw, value, label, unit

Rows stand as they were added: block by block in time order, inside a block signal by
signal, each in time order. Numbers and short codes are collected, and the names put in
by DuckDB when all is there, so no text is made for each row.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

import duckdb
import numpy as np
import numpy.typing as npt

from busprobe.errors import OpenError
from busprobe.frames import FloatArray, Int32Array
from busprobe.recording.naming import Names, RawArray, as_int64
from busprobe.recording.schema import quoted
from busprobe.recording.trouble import told

OPTIONS = {
    ".csv": "FORMAT csv, HEADER",
    ".parquet": "FORMAT parquet, COMPRESSION snappy, DICTIONARY_SIZE_LIMIT 1000",
}
"""Suffix -> how DuckDB writes it. Larger dictionaries cost time and make a larger file."""

BLOCK_ROWS = 1_000_000
"""Samples that make a block, at least."""

HELD_BLOCKS = 10
"""Blocks held as arrays (32 MB each); with more they move into a table, which can go to disk."""

MEMORY_LIMIT = "1GB"
"""For such tables; what exceeds it waits in temporary files beside the output."""

_Rows = tuple[FloatArray, int, RawArray, FloatArray, Int32Array | None]


class SampleWriter:
    """One file of samples, which is there once the writer has been left without an error.

    Column raw is BIGINT; DECIMAL(20, 0) where some raw value needs all 64 bits; DOUBLE
    where some signal is floating point.
    """

    def __init__(self, path: Path) -> None:
        """Raises OpenError for a suffix other than .csv and .parquet, or a folder that is not there."""
        self.path = path
        self._options = OPTIONS.get(path.suffix.lower(), "")
        if not self._options:
            raise OpenError(
                f'Samples are written as ".csv" or ".parquet", not as "{path.suffix}".',
                path=path,
                hint="Name a file with one of these endings.",
            )
        if not path.parent.is_dir():
            raise OpenError("The folder to write to does not exist.", path=path, hint="Make the folder first.")
        self._names = Names()
        self._kept: list[_Rows] = []
        self._count = 0
        self._tables: list[str] = []
        self._blocks: list[str] = []
        self._con = duckdb.connect(config={"threads": 2, "memory_limit": MEMORY_LIMIT, "temp_directory": f"{path}.tmp"})

    def __enter__(self) -> SampleWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if error is None:
                self._write()
        finally:
            self._con.close()

    def add(
        self,
        *,
        t_s: FloatArray,
        channel: str,
        message: str,
        signal: str,
        raw: RawArray,
        value: FloatArray,
        labels: Mapping[int, str] | None,
        unit: str | None,
    ) -> None:
        """Adds samples of one signal, in time order.

        t_s, raw, value: (n,) seconds since the recording's start; int64, uint64 or float64; in `unit`.
        labels: raw value -> label, the same at every call for one signal.
        """
        if not len(t_s):
            return
        series = self._names.series(channel, message, signal, unit, labels)
        if raw.dtype == np.uint64 and raw.max() > np.iinfo(np.int64).max:
            self._names.wide.add(series)
        if raw.dtype == np.float64:
            self._names.real.add(series)
        self._kept.append((t_s, series, raw, value, self._names.label_codes(series, raw)))
        self._count += len(t_s)
        if self._count >= BLOCK_ROWS:
            self._collect()

    def _collect(self) -> None:
        """Makes a block of the samples kept, which DuckDB can see under a name of its own."""
        t_s, series, raw, value, label = zip(*self._kept, strict=True)
        sizes = [len(t) for t in t_s]
        columns: dict[str, npt.NDArray[Any]] = {
            "time_s": np.concatenate(t_s),
            "series": np.repeat(np.array(series, np.int32), sizes),
            "raw": np.concatenate([as_int64(r) for r in raw]),
            "value": np.concatenate(value),
            "label": np.concatenate(
                [np.zeros(n, np.int32) if c is None else c for c, n in zip(label, sizes, strict=True)]
            ),
        }
        if self._names.real:
            columns["real"] = np.concatenate([r if r.dtype == np.float64 else np.zeros(len(r)) for r in raw])
        self._blocks.append(f"block{len(self._blocks)}")
        self._con.register(self._blocks[-1], columns)
        self._kept, self._count = [], 0
        if len(self._blocks) == HELD_BLOCKS:
            self._store_blocks()

    def _store_blocks(self) -> None:
        table = f"stored{len(self._tables)}"
        with told(self.path):
            self._con.execute(f"CREATE TABLE {table} AS {_all_of(self._blocks)}")
        for block in self._blocks:
            self._con.unregister(block)
        self._tables.append(table)
        self._blocks = []

    def _write(self) -> None:
        if not self._tables + self._blocks + self._kept:
            self._kept.append((np.empty(0), 0, np.empty(0, np.int64), np.empty(0), None))
        if self._kept:
            self._collect()
        with told(self.path):
            self._names.store(self._con)
            self._con.execute(f"COPY ({self._query()}) TO {quoted(str(self.path))} ({self._options})")

    def _query(self) -> str:
        """The samples with their names. From lists, since a join would not keep the order of the rows."""
        raw = "raw"
        if self._names.wide:
            unsigned = "list_contains(getvariable('wide'), series)"
            raw = f"(CASE WHEN raw < 0 AND {unsigned} THEN raw::HUGEINT + {1 << 64} ELSE raw END)::DECIMAL(20, 0)"
        if self._names.real:
            kind = "VARCHAR" if self.path.suffix.lower() == ".csv" else "DOUBLE"
            raw = f"CASE WHEN list_contains(getvariable('real'), series) THEN real::{kind} ELSE ({raw})::{kind} END"
        name = self._names.select()
        return (
            f"SELECT time_s, {name['channel']}, {name['message']}, {name['signal']}, {raw} AS raw, value, "
            f"{name['label']}, {name['unit']} FROM ({_all_of(self._tables + self._blocks)})"
        )


def _all_of(sources: Sequence[str]) -> str:
    return " UNION ALL BY NAME ".join(f"FROM {source}" for source in sources)
