"""Keeps a marker in a recording that is finished."""

from __future__ import annotations

from pathlib import Path

import duckdb

from busprobe.errors import OpenError
from busprobe.recording.inserts import insert_rows
from busprobe.recording.trouble import InUseError, told
from busprobe.recording.write import checkpoint_on_demand, has_room_for_checkpoint

MARKER = "marker"
"""Kind of the event that keeps a marker; the note is its name."""


def append_marker(path: Path, t_ns: int, note: str) -> None:
    """Open a recording for writing, add the marker, and close it.

    Where the disk has no room for a checkpoint the marker stays in the log beside the file.
    Raises OpenError where the file cannot be written, or another program has it open.
    """
    try:
        with told(path), duckdb.connect(str(path.absolute()), config={"threads": 2}) as con:
            checkpoint_on_demand(con)
            insert_rows(con, "events", [(t_ns, t_ns, 0, MARKER, note, "")])
            if has_room_for_checkpoint(path):
                con.execute("CHECKPOINT")
    except InUseError as error:  # it could be opened for reading, so nobody writes it
        hint = "It is open there too, and a marker needs it alone: close it there, then press m again."
        raise OpenError(error.message, path=path, hint=hint) from error
