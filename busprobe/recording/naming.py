"""Codes for the text of samples: a series for each signal, a number for each of its labels."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import duckdb
import numpy as np

from busprobe.frames import FloatArray, Int32Array, Int64Array, UInt64Array

RawArray = Int64Array | UInt64Array | FloatArray

COLUMNS = ("channel", "message", "signal", "unit")
"""What a series stands for."""


class Names:
    """Gives out the codes, and hands DuckDB the lists that they point into, from 1."""

    def __init__(self) -> None:
        self._series: dict[tuple[str, str, str, str | None], int] = {}
        self._points: dict[int, tuple[Int64Array, Int32Array]] = {}
        self._labels: list[str] = []
        self.wide: set[int] = set()
        """Series with a raw value past the range of int64."""
        self.real: set[int] = set()
        """Series of floating point."""

    def series(
        self, channel: str, message: str, signal: str, unit: str | None, labels: Mapping[int, str] | None
    ) -> int:
        key = (channel, message, signal, unit)
        series = self._series.get(key)
        if series is None:
            series = self._series[key] = len(self._series) + 1
            if labels:
                raws = np.array([raw % (1 << 64) for raw in labels], np.uint64).view(np.int64)
                order = np.argsort(raws)
                codes = len(self._labels) + 1 + np.arange(len(labels))
                self._points[series] = (raws[order], codes[order].astype(np.int32))
                self._labels += labels.values()
        return series

    def label_codes(self, series: int, raw: RawArray) -> Int32Array | None:
        """(n,) place of each sample's label in the list of all, from 1; 0 where it has none."""
        if series not in self._points:
            return None
        points, codes = self._points[series]
        if raw.dtype == np.float64:
            points = points.astype(np.float64)
        else:
            raw = as_int64(raw)
        place = np.minimum(np.searchsorted(points, raw), len(points) - 1)
        return np.where(points[place] == raw, codes[place], np.int32(0))

    def store(self, con: duckdb.DuckDBPyConnection) -> None:
        """Sets a variable of DuckDB for each column of names: the list that the codes point into."""
        lists: dict[str, list[Any]] = {"label": self._labels}
        lists |= {column: [key[k] for key in self._series] for k, column in enumerate(COLUMNS)}
        for column, names in lists.items():
            # An ENUM goes into the file as it is; text would be looked up again row by row.
            con.execute("CREATE OR REPLACE TABLE names AS SELECT unnest(?::VARCHAR[]) AS name", [names])
            con.execute(f"CREATE TYPE {column}_name AS ENUM (SELECT '' UNION SELECT name FROM names WHERE name <> '')")
            con.execute(f"SET VARIABLE {column} = (SELECT list(name::{column}_name ORDER BY rowid) FROM names)")
        con.execute("SET VARIABLE wide = ?::INTEGER[]", [sorted(self.wide)])
        con.execute("SET VARIABLE real = ?::INTEGER[]", [sorted(self.real)])

    def select(self) -> dict[str, str]:
        """For each column of names, and for `label`, the SQL that makes it from the codes of a row."""
        code = {"label": "label"}
        for k, column in enumerate(COLUMNS):
            code[column] = "1" if len({key[k] for key in self._series}) == 1 else "series"
        return {column: f"list_extract(getvariable('{column}'), {code[column]}) AS {column}" for column in code}


def as_int64(raw: RawArray) -> Int64Array:
    """The same 64 bits as int64; zeros for floating point, which has a column of its own."""
    if raw.dtype == np.float64:
        return np.zeros(len(raw), np.int64)
    return raw.view(np.int64)
