"""DuckDB's own errors turned into ours: which file, what is wrong with it, what to do next."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from busprobe.errors import BusprobeError, FormatError, OpenError
from busprobe.recording.schema import wal_of

_HOLDER = re.compile(r"Conflicting lock is held in .*\(PID (\d+)\)")
_SHARED = re.compile(r"used by another process|Could not set lock")
_NEWER = re.compile(r"database file with version number|Unsupported Storage Version")
_DAMAGED = re.compile(r"Corrupt database file|Could not read enough bytes|Checksum|Failure while replaying WAL")
_LOG = re.compile(r"Failure while replaying WAL")
_ENTRY = re.compile(r"entry at byte position (\d+)")


class InUseError(OpenError):
    """Another program has the recording open, or another part of this one."""


class LogDamagedError(FormatError):
    """The log beside a recording cannot be taken in."""

    good_bytes = 0
    """So much of it, from its beginning, can be."""


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turns an error of DuckDB inside the block into a `BusprobeError` about `path`."""
    try:
        yield
    except duckdb.Error as error:
        raise explain(error, path) from error


def is_damage(error: duckdb.Error) -> bool:
    """Whether an error of DuckDB tells of a file that is not as it was written."""
    return _DAMAGED.search(str(error)) is not None


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
    if _LOG.search(text):
        log = LogDamagedError(
            f'The log beside the recording, "{wal_of(path).name}", is damaged.',
            path=path,
            hint="Use another copy of both, or move the log to another folder: it holds up to the last 30 s.",
        )
        entry = _ENTRY.search(text)
        log.good_bytes = int(entry[1]) if entry else 0
        return log
    line = text.splitlines()[0].rstrip(".!").replace('"', "'")
    if is_damage(error):
        return FormatError(
            f'The recording is damaged: DuckDB says "{line}".',
            path=path,
            hint="Use another copy of it.",
        )
    return OpenError(f'DuckDB says "{line}".', path=path, hint="Choose another file or mend what it names.")


def _in_use(path: Path, who: str) -> InUseError:
    return InUseError(
        f"The recording is in use by {who}.",
        path=path,
        hint="Close it there first: while a recording is written, no other reader can have it.",
    )
