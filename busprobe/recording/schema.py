"""Tables of a recording: one DuckDB database file that any DuckDB client from 1.4 on can query.

Rows of `frames`, `inputs`, `states` and `events` stand in the order in which they were
written, which is the order of arrival; `rowid` counts them. A payload is one number with
the first byte on the wire lowest: byte k is `(payload >> (8 * k)) & 255`. Example:

    SELECT c.name, f.t_ns, f.payload & 255 AS first_byte
    FROM frames AS f JOIN channels AS c ON c.number = f.channel
    WHERE f.identifier = 0x1A0 AND f.flags & 1 = 0
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

FORMAT: Final = 1
"""Number of this table layout, in `about` under "format"."""

MAGIC: Final = b"DUCK"
"""Bytes 8 to 11 of every DuckDB file."""

ATTACH_OPTIONS: Final = "STORAGE_VERSION 'v1.4.0', BLOCK_SIZE 65536"
"""Blocks of 64 kB instead of 256 kB lose less at the ends of short columns: 1 byte a frame less."""

TABLES: Final = {
    "frames": """
        t_ns BIGINT NOT NULL,           -- nanoseconds since the epoch where the source knew it
        channel UTINYINT NOT NULL,      -- channels.number
        identifier UINTEGER NOT NULL,   -- without flag bits
        flags UTINYINT NOT NULL,        -- 1 extended, 2 FD, 4 remote, 8 error, 16 sent, 32 late, 64 BRS, 128 ESI
        length UTINYINT NOT NULL,       -- payload length in bytes, 0 to 64
        payload UBIGINT NOT NULL,       -- bytes 0 to 7, byte 0 lowest
        tail BLOB                       -- bytes 8 to length - 1; NULL where length is 8 or less""",
    "inputs": """
        t_ns BIGINT NOT NULL,
        box UTINYINT NOT NULL,          -- channels.number
        mask UBIGINT NOT NULL,          -- bit k is the level of line number k, 1 high
        analogue INTEGER[],             -- millivolts of analogue lines 0, 1, ...; NULL where there are none
        late BOOLEAN NOT NULL           -- came after logic had passed its time, never used by logic""",
    "states": """
        t_ns BIGINT NOT NULL,
        source VARCHAR NOT NULL,        -- channel or box; empty: the states themselves
        condition VARCHAR NOT NULL,     -- up, down, late, complete_to, health, requests
        note VARCHAR NOT NULL,          -- health: JSON
        value BIGINT                    -- late: how many since the row before; else NULL""",
    "events": """
        t_ns BIGINT NOT NULL,           -- when it happened
        decided_ns BIGINT NOT NULL,     -- event time at which it could be told
        rank INTEGER NOT NULL,          -- order within one instant
        kind VARCHAR NOT NULL,
        name VARCHAR NOT NULL,
        text VARCHAR NOT NULL           -- of kind walk: JSON""",
    "channels": """
        number UTINYINT NOT NULL,       -- unique over both kinds
        name VARCHAR NOT NULL,
        kind VARCHAR NOT NULL           -- bus or box""",
    "about": "key VARCHAR NOT NULL, value VARCHAR NOT NULL",
    "bench": "name VARCHAR NOT NULL, text VARCHAR NOT NULL",
}
"""Table -> its columns."""

COMPLETE_TO: Final = "complete_to"
"""Condition of a `states` row: the source has no later row before `t_ns`."""
LATE_COUNT: Final = "late"
"""Condition of a `states` row: `value` rows of the source came late."""

BUS: Final = "bus"
BOX: Final = "box"


def create_statements() -> list[str]:
    """The statements that make the tables, in order."""
    return [f"CREATE TABLE {name} ({columns}\n)" for name, columns in TABLES.items()]


def quoted(text: str) -> str:
    """`text` as an SQL string."""
    return "'" + text.replace("'", "''") + "'"


def wal_of(path: Path) -> Path:
    """The log beside a recording: what has been committed and is not in the file yet."""
    return path.with_name(path.name + ".wal")
