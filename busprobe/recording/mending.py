"""A copy, for as long as it is read, of all that can be read of a damaged recording.

The file itself is left as it is. What is missing is in the copy as times in which its sources were down:

    frames     good good ---- bad ---- good good
                       |               |
                     down             up        of every bus, at the next instant and at the first good one
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple

import duckdb

from busprobe.errors import BusprobeError, FormatError
from busprobe.frames import DAMAGED, LATE, Condition
from busprobe.recording.damage import GRAIN, Damage, Hole, bad_rows, between, count_of, is_whole
from busprobe.recording.inserts import insert_rows
from busprobe.recording.opening import CONFIG, connect
from busprobe.recording.schema import BOX, BUS, TABLES, create_statements, quoted, wal_of
from busprobe.recording.trouble import LogDamagedError, told
from busprobe.recording.write import SPARE_BYTES, size_of

_ROWS: Final = {"frames": (BUS, "channel", f"flags & {LATE} = 0"), "inputs": (BOX, "box", "NOT late")}
"""Table -> what its sources are, the column that tells them apart, and the rows that did not come late."""
_STATES: Final = (Condition.UP.value, Condition.DOWN.value)


class Opened(NamedTuple):
    """A recording of which all that can be read is there."""

    con: duckdb.DuckDBPyConnection
    directory: TemporaryDirectory[str] | None = None
    """Holds the copy that the connection is to; to be removed once that is closed."""
    damage: Damage | None = None


class _Row(NamedTuple):
    t_ns: int
    source: str
    condition: str
    note: str


def open_whole_or_rest(path: Path, tables: Iterable[str]) -> Opened:
    """Opens a recording, or of a damaged one a copy of what can be read.

    tables: those that are looked through for damage. Raises as `connect` does, and FormatError where
    there is no room for the copy.
    """
    with ExitStack() as undo:
        try:
            con, beside = connect(path), None
        except LogDamagedError as error:
            con, beside = _with_cut_log(path, error)
            undo.callback(beside.cleanup)
        undo.callback(con.close)
        with told(path):
            is_sound = is_whole(con, tables if beside is None else TABLES)
        if is_sound:
            undo.pop_all()
            opened = Opened(con, beside, None if beside is None else Damage((), {}, (), True))
        else:
            con.close()
            opened = rest_of(path if beside is None else Path(beside.name) / path.name, path)
            if beside is not None and opened.damage is not None:
                opened = opened._replace(damage=replace(opened.damage, is_log_cut=True))
    return opened


def _with_cut_log(path: Path, error: LogDamagedError) -> tuple[duckdb.DuckDBPyConnection, TemporaryDirectory[str]]:
    """A copy of a recording with so much of the log beside it as can be taken in."""
    directory = _room_for(path)
    copy = Path(directory.name) / path.name
    with ExitStack() as undo:
        undo.callback(directory.cleanup)
        shutil.copyfile(path, copy)
        if error.good_bytes:
            with wal_of(path).open("rb") as log:
                wal_of(copy).write_bytes(log.read(error.good_bytes))
        try:
            con = connect(copy)
        except BusprobeError:
            raise error from None
        undo.pop_all()
    return con, directory


def rest_of(source: Path, path: Path) -> Opened:
    """A copy of what can be read of `source`, which is not open; errors name `path`."""
    directory = _room_for(path)
    with ExitStack() as undo:
        undo.callback(directory.cleanup)
        with told(path):
            con = duckdb.connect(str(Path(directory.name) / "rest.duckdb"), config=CONFIG)
            undo.callback(con.close)
            damage = _copy(con, source)
        undo.pop_all()
    return Opened(con, directory, damage)


def _room_for(path: Path) -> TemporaryDirectory[str]:
    """A directory for a copy. Raises FormatError where there is no room for it."""
    directory = TemporaryDirectory(prefix="busprobe-")
    if shutil.disk_usage(directory.name).free >= 2 * size_of(path) + SPARE_BYTES:
        return directory
    folder = Path(directory.name).parent
    directory.cleanup()
    raise FormatError(
        f'The recording is damaged, and "{folder}" has no room for a copy of what can be read.',
        path=path,
        hint="Make room there, or use another copy of the recording.",
    )


def _copy(con: duckdb.DuckDBPyConnection, path: Path) -> Damage:
    con.execute(f"ATTACH {quoted(str(path.absolute()))} AS damaged (READ_ONLY)")
    for statement in create_statements():
        con.execute(statement)
    counts, bad, torn = {}, {}, []
    for table in TABLES:
        count = count_of(con, f"damaged.{table}")
        counts[table] = count or 0
        bad[table] = bad_rows(con, f"damaged.{table}", counts[table])
        if count is None or bad[table]:
            torn.append(table)
        for part in between(bad[table], counts[table]):
            con.execute(f"INSERT INTO {table} SELECT * FROM damaged.{table} WHERE {_within(part)}")
    if "channels" in torn:
        _name_sources(con)
    holes = []
    for table in (t for t in _ROWS if t in torn):
        found = _holes(con, table, bad[table], counts[table]) or [Hole(table, 0, _start(con), None)]
        _tell_down(con, table, found)
        holes += found
    con.execute("DETACH damaged")
    return Damage(tuple(holes), {t: counts[t] for t in _ROWS}, tuple(t for t in torn if t not in _ROWS))


def _within(rows: range) -> str:
    return f"rowid BETWEEN {rows.start} AND {rows.stop - 1}"


def _name_sources(con: duckdb.DuckDBPyConnection) -> None:
    """Gives those sources a name whose own cannot be read."""
    for table, (kind, column, _) in _ROWS.items():
        con.execute(
            f"INSERT INTO channels SELECT DISTINCT {column}, '{kind} ' || {column}, '{kind}' FROM {table} "
            f"WHERE {column} NOT IN (SELECT number FROM channels) ORDER BY 1"
        )


def _holes(con: duckdb.DuckDBPyConnection, table: str, bad: Sequence[range], count: int) -> list[Hole]:
    """The times of rows that cannot be read, by those of the good ones next to them."""
    good = between(bad, count)
    in_time = _ROWS[table][2]

    def time_of(pick: str, rows: range) -> int | None:
        where = f"WHERE {_within(rows)} AND {in_time}" if rows else "WHERE false"
        found = con.execute(f"SELECT {pick}(t_ns) FROM damaged.{table} {where}").fetchone()
        return found[0] if found else None

    holes = []
    for part in bad:
        before = next((g for g in good if g.stop == part.start), range(0))
        after = next((g for g in good if g.start == part.stop), range(0))
        newest, next_ns = time_of("max", before[-GRAIN:]), time_of("min", after[:GRAIN])
        begin = _start(con) if newest is None else newest + 1
        holes.append(Hole(table, len(part), begin, None if next_ns is None else max(next_ns, begin + 1)))
    return holes


def _start(con: duckdb.DuckDBPyConnection) -> int:
    """When the recording begins, as it says itself, or by its first good row."""
    found = con.execute(
        "SELECT coalesce((SELECT value::BIGINT FROM about WHERE key = 'start_ns'), "
        "least((SELECT min(t_ns) FROM frames), (SELECT min(t_ns) FROM inputs), (SELECT min(t_ns) FROM states)), 0)"
    ).fetchone()
    return int(found[0]) if found else 0


def _tell_down(con: duckdb.DuckDBPyConnection, table: str, holes: Sequence[Hole]) -> None:
    """Puts down what the sources of a table were in its holes."""
    names = [n for (n,) in con.execute("SELECT name FROM channels WHERE kind = ?", [_ROWS[table][0]]).fetchall()]
    for name in names:
        ours = "source = ? AND list_contains(?, condition)"
        states = [
            _Row(*row)
            for row in con.execute(
                f"SELECT t_ns, source, condition, note FROM states WHERE {ours} ORDER BY t_ns, rowid", [name, _STATES]
            ).fetchall()
        ]
        for hole in holes:
            states = _with_hole(states, name, hole)
        con.execute(f"DELETE FROM states WHERE {ours}", [name, _STATES])
        insert_rows(con, "states", [(*row, None) for row in states])


def _with_hole(states: Sequence[_Row], name: str, hole: Hole) -> list[_Row]:
    """The states of a source that is down in a hole, whatever it was; in time order, as they are given."""
    up, down = _STATES
    before = [row for row in states if row.t_ns <= hole.begin_ns]
    after = [] if hole.end_ns is None else [row for row in states if row.t_ns > hole.end_ns]
    through = [row for row in states if hole.end_ns is None or row.t_ns <= hole.end_ns]
    told = list(before)
    if not before or before[-1].condition == up:
        told.append(_Row(hole.begin_ns, name, down, DAMAGED))
    if hole.end_ns is not None and (not through or through[-1].condition == up):
        told.append(_Row(hole.end_ns, name, up, ""))
    return [*told, *after]
