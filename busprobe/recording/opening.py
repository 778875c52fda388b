"""Opens a recording read-only, or says why it cannot be."""

from __future__ import annotations

from pathlib import Path

import duckdb

from busprobe.errors import FormatError, OpenError
from busprobe.recording.schema import FORMAT, MAGIC, TABLES, wal_of
from busprobe.recording.trouble import told

MEMORY_LIMIT = "256MB"
"""Streaming needs little; the limit keeps DuckDB from holding the whole file."""


def looks_like(head: bytes) -> bool:
    """Whether the first bytes of a file are those of a DuckDB database."""
    return head[8:12] == MAGIC


def connect(path: Path) -> duckdb.DuckDBPyConnection:
    """A read-only connection to a file that has every table of a recording.

    Raises OpenError, or FormatError where the file is damaged.
    """
    if path.is_dir():
        raise OpenError("This is a folder.", path=path, hint="Name a recording in it.")
    if not path.exists():
        raise OpenError("The file does not exist.", path=path, hint="Check the name and the folder.")
    if path.stat().st_size == 0:
        raise OpenError("The file is empty.", path=path, hint="Choose another recording.")
    with told(path):
        con = duckdb.connect(str(path.absolute()), read_only=True, config={"threads": 2, "memory_limit": MEMORY_LIMIT})
    try:
        _refuse_other_databases(con, path)
    except OpenError:
        con.close()
        raise
    return con


def _refuse_other_databases(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    with told(path):
        there = {name for (name,) in con.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
        missing = [f'"{name}"' for name in TABLES if name not in there]
        if not there and not wal_of(path).exists():
            raise OpenError(
                f'The file is empty, and "{wal_of(path).name}" is not beside it: that log holds what was recorded.',
                path=path,
                hint=f"Copy {wal_of(path).name} too, and keep both together.",
            )
        if missing:
            raise OpenError(
                f"The DuckDB file is no busprobe recording: {_tables_missing(missing)}.",
                path=path,
                hint="Choose a file that busprobe recorded.",
            )
        row = con.execute("SELECT value FROM about WHERE key = 'format'").fetchone()
    found = row[0] if row else ""
    if not found.isdigit():
        raise FormatError(f'The recording has the format number "{found}", which is none.', path=path)
    if int(found) > FORMAT:
        raise OpenError(
            f'The recording has format "{found}"; this busprobe reads up to "{FORMAT}".',
            path=path,
            hint="Install a newer busprobe.",
        )


def _tables_missing(names: list[str]) -> str:
    if len(names) == 1:
        return f"table {names[0]} is missing"
    return f"tables {', '.join(names[:-1])} and {names[-1]} are missing"
