"""Opens a recording read-only, or says why it cannot be."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import duckdb

from busprobe.errors import FormatError, OpenError, counted
from busprobe.recording.schema import FORMAT, MAGIC, TABLES, wal_of
from busprobe.recording.trouble import LogDamagedError, is_damage, told

CONFIG: Final[dict[str, str | bool | int | float | list[str]]] = {"threads": 2, "memory_limit": "256MB"}
"""Streaming needs little memory; the limit keeps DuckDB from holding the whole file."""

_PAST_END = "Could not read enough bytes"
_LOCATION = re.compile(r"at location (\d+)")


def looks_like(head: bytes) -> bool:
    """Whether the first bytes of a file are those of a DuckDB database."""
    return head[8:12] == MAGIC


def connect(path: Path) -> duckdb.DuckDBPyConnection:
    """A read-only connection to a file that has every table of a recording.

    Raises OpenError, or FormatError where the file is damaged so that none of its tables is found.
    """
    if path.is_dir():
        raise OpenError("This is a folder.", path=path, hint="Name a recording in it.")
    if not path.exists():
        raise OpenError("The file does not exist.", path=path, hint="Check the name and the folder.")
    if path.stat().st_size == 0:
        raise OpenError("The file is empty.", path=path, hint="Choose another recording.")
    try:
        with told(path):
            con = duckdb.connect(str(path.absolute()), read_only=True, config=CONFIG)
    except LogDamagedError:
        raise
    except FormatError as error:
        raise _nothing_found(error, path) from error
    try:
        _refuse_other_databases(con, path)
    except OpenError:
        con.close()
        raise
    return con


def _nothing_found(error: FormatError, path: Path) -> FormatError:
    """The same error where it is met on opening: it is of what tells where the tables of the file are."""
    if _PAST_END in error.message:
        what = f"cut short: of it only {counted(path.stat().st_size, 'byte')} can be read"
    else:
        at = _LOCATION.search(error.message)
        what = "damaged" + (f" at byte {int(at[1]):,}" if at else "")
    return FormatError(
        f"The recording is {what}. What tells where its tables are is lost, so nothing in it can be read.",
        path=path,
        hint="Use another copy of it.",
    )


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
    found = _format_of(con)
    if not found.isdigit():
        raise FormatError(f'The recording has the format number "{found}", which is none.', path=path)
    if int(found) > FORMAT:
        raise OpenError(
            f'The recording has format "{found}"; this busprobe reads up to "{FORMAT}".',
            path=path,
            hint="Install a newer busprobe.",
        )


def _format_of(con: duckdb.DuckDBPyConnection) -> str:
    """The number of its format, as it says; of one that is too damaged to say so, the newest one."""
    try:
        row = con.execute("SELECT value FROM about WHERE key = 'format'").fetchone()
    except duckdb.Error as error:
        if not is_damage(error):
            raise
        return str(FORMAT)
    return row[0] if row else ""


def _tables_missing(names: list[str]) -> str:
    if len(names) == 1:
        return f"table {names[0]} is missing"
    return f"tables {', '.join(names[:-1])} and {names[-1]} are missing"
