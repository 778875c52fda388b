"""DuckDB's own errors turned into ours: which file, what is wrong with it, what to do next."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from busprobe.errors import BusprobeError, FormatError, OpenError

_HOLDER = re.compile(r"Conflicting lock is held in .*\(PID (\d+)\)")
_SHARED = re.compile(r"used by another process|Could not set lock")
_NEWER = re.compile(r"database file with version number|Unsupported Storage Version")
_DAMAGED = re.compile(r"Corrupt database file|Could not read enough bytes|Checksum|Failure while replaying WAL")


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turns an error of DuckDB inside the block into a `BusprobeError` about `path`."""
    try:
        yield
    except duckdb.Error as error:
        raise explain(error, path) from error


def explain(error: duckdb.Error, path: Path) -> BusprobeError:
    """What an error of DuckDB means for the person who named `path`."""
    text = str(error)
    if holder := _HOLDER.search(text):
        return _in_use(path, f"process {holder[1]}")
    if "Unique file handle conflict" in text:
        return _in_use(path, "this process")
    if _SHARED.search(text):
        return _in_use(path, "another process")
    if _NEWER.search(text):
        return OpenError(
            f'The file was written in a storage version that DuckDB "{duckdb.__version__}" does not know.',
            path=path,
            hint="Install a newer DuckDB: pip install --upgrade duckdb.",
        )
    if "not a valid DuckDB database file" in text:
        return OpenError(
            "The file is not a DuckDB database.",
            path=path,
            hint="Choose a recording, or a log in one of the formats that busprobe reads.",
        )
    line = text.splitlines()[0].rstrip(".!").replace('"', "'")
    if _DAMAGED.search(text):
        return FormatError(
            f'The recording is damaged: DuckDB says "{line}".',
            path=path,
            hint="Use another copy of it.",
        )
    return OpenError(f'DuckDB says "{line}".', path=path, hint="Choose another file or mend what it names.")


def _in_use(path: Path, who: str) -> OpenError:
    return OpenError(
        f"The recording is in use by {who}.",
        path=path,
        hint="Close it there first: while a recording is written, no other reader can have it.",
    )
