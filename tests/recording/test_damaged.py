"""A recording with bytes overwritten or its end cut off: all else is read, and what is missing is told."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import duckdb
import numpy as np
import pytest

from busprobe.errors import FormatError, OpenError
from busprobe.frames import DAMAGED, Condition, FrameBatch, InputBatch, SourceState, StateBatch
from busprobe.recording.damage import Damage
from busprobe.recording.read import Recording, open_recording
from busprobe.recording.write import RecordingWriter

T0 = 1_768_374_000_000_000_000
MS = 1_000_000
ROWS, PARTS = 20_000, 20
BLOCK = 65_536


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """400,000 frames of two buses, a millisecond apart, and a poll every 10 ms."""
    path = tmp_path_factory.mktemp("whole") / "whole.duckdb"
    dice = np.random.default_rng(1)
    with RecordingWriter(path, about={"start_ns": str(T0)}, bench={"van.toml": "# van"}) as writer:
        up = [SourceState(T0, name, Condition.UP, "") for name in ("body", "chassis", "box")]
        writer.add(StateBatch(tuple(up), T0))
        for part in range(PARTS):
            t_ns = T0 + (part * ROWS + np.arange(ROWS, dtype=np.int64)) * MS
            end = int(t_ns[-1])
            payload = dice.integers(0, 2**63, ROWS).astype(np.uint64)
            writer.add(
                FrameBatch(
                    t_ns, ("body", "chassis"), dice.integers(0, 2, ROWS).astype(np.uint8),
                    dice.integers(0, 2048, ROWS).astype(np.uint32), np.zeros(ROWS, np.uint8),
                    np.full(ROWS, 8, np.uint8), payload, None, end,
                )
            )  # fmt: skip
            writer.add(InputBatch("box", t_ns[::10], payload[::10], None, None, end))
            writer.checkpoint()
    return path


def block_of(path: Path, table: str, column: str, row: int) -> int:
    """Where in the file the block lies that holds a row of a column."""
    with duckdb.connect(str(path), read_only=True) as con:
        found = con.execute(
            f"SELECT block_id FROM pragma_storage_info('{table}') WHERE column_name = ? AND segment_type <> 'VALIDITY' "
            "AND row_group_id * 122880 + start <= ? AND ? < row_group_id * 122880 + start + count",
            [column, row, row],
        ).fetchone()
    assert found is not None
    return int(3 * 4096 + found[0] * BLOCK)


def overwritten(whole: Path, folder: Path, at: int) -> Path:
    """A copy with 1,000 bytes overwritten."""
    path = folder / "damaged.duckdb"
    shutil.copy(whole, path)
    with path.open("r+b") as stream:
        stream.seek(at + 2_000)
        stream.write(os.urandom(1_000))
    return path


def frames_of(recording: Recording) -> tuple[np.ndarray, np.ndarray]:
    """(n,) times and payloads of all frames."""
    batches = [b for b in recording.batches() if isinstance(b, FrameBatch)]
    return np.concatenate([b.t_ns for b in batches]), np.concatenate([b.payload for b in batches])


def states_of(recording: Recording) -> list[SourceState]:
    return [row for b in recording.batches() if isinstance(b, StateBatch) for row in b.rows]


def test_a_whole_one_is_not_copied(whole: Path) -> None:
    with open_recording(whole) as recording:
        assert recording.damage is None
        assert len(frames_of(recording)[0]) == ROWS * PARTS


def test_what_a_bad_block_does_not_hold_is_there(whole: Path, tmp_path: Path) -> None:
    path = overwritten(whole, tmp_path, block_of(whole, "frames", "payload", 150_000))
    before = path.read_bytes()
    with open_recording(whole) as recording:
        t_ns, payload = frames_of(recording)
    with open_recording(path) as recording:
        assert recording.damage is not None
        (hole,) = recording.damage.holes
        first, last = hole.begin_ns - 1 + MS, hole.end_ns
        assert hole.table == "frames"
        assert last is not None
        assert first <= T0 + 150_000 * MS < last
        # A block holds 8,191 numbers of 64 bits; DuckDB reads 2,048 rows at once.
        assert 8_000 <= hole.rows <= 8_191 + 2 * 2_048
        there = (t_ns < hole.begin_ns) | (t_ns >= last)
        rest_t, rest_payload = frames_of(recording)
        assert (rest_t == t_ns[there]).all()
        assert (rest_payload == payload[there]).all()
        assert len(rest_t) == ROWS * PARTS - hole.rows
        gone = [(row.source, row.condition, row.t_ns) for row in states_of(recording) if row.t_ns > T0]
        assert gone == [
            (name, condition, at)
            for condition, at in ((Condition.DOWN, hole.begin_ns), (Condition.UP, last))
            for name in ("body", "chassis")
        ]
        assert recording.poll_count == ROWS * PARTS // 10
        assert recording.frames_between(T0 - 1, T0 + 9 * MS).t_ns.tolist() == [T0 + k * MS for k in range(10)]
        assert recording.frame_time_next_to(hole.begin_ns, 1) == last
    assert path.read_bytes() == before


def test_polls_that_are_missing_are_a_gap_of_their_box(whole: Path, tmp_path: Path) -> None:
    path = overwritten(whole, tmp_path, block_of(whole, "inputs", "mask", 20_000))
    with open_recording(path) as recording:
        assert recording.damage is not None
        (hole,) = recording.damage.holes
        assert hole.table == "inputs"
        assert hole.begin_ns <= T0 + 200_000 * MS
        assert {row.source for row in states_of(recording) if row.note == DAMAGED} == {"box"}
        assert recording.frame_count == ROWS * PARTS


def test_a_cut_file_is_read_up_to_where_it_ends(whole: Path, tmp_path: Path) -> None:
    path = tmp_path / "cut.duckdb"
    shutil.copy(whole, path)
    with path.open("r+b") as stream:
        stream.truncate(whole.stat().st_size * 7 // 10)
    with open_recording(path) as recording:
        assert recording.damage is not None
        times = frames_of(recording)[0]
        missing = sum(hole.rows for hole in recording.damage.holes if hole.table == "frames")
        assert len(times) == ROWS * PARTS - missing
        assert missing > 0
        assert (np.diff(times) > 0).all()


@pytest.mark.parametrize("table", ["about", "bench", "channels", "states", "events"])
def test_a_small_table_that_is_lost_takes_nothing_else_along(table: str, tmp_path: Path) -> None:
    path = tmp_path / "van.duckdb"
    with RecordingWriter(path, about={"start_ns": str(T0)}, bench={"van.toml": "# van"}) as writer:
        writer.add(StateBatch((SourceState(T0, "body", Condition.UP, ""),), T0))
        ones = np.ones(3, np.uint8)
        t_ns = T0 + np.arange(3) * MS
        writer.add(
            FrameBatch(t_ns, ("body",), 0 * ones, ones.astype(np.uint32), 0 * ones, ones, ones.astype(np.uint64), None)
        )
    with duckdb.connect(str(path)) as con:
        # Rows enough that the table has blocks of its own.
        columns = con.execute(f"SELECT column_name, data_type FROM duckdb_columns() WHERE table_name = '{table}'")
        made = ", ".join(
            "md5(i::VARCHAR) || md5('a' || i)" if kind == "VARCHAR" else f"(i % 200)::{kind}"
            for _, kind in columns.fetchall()
        )
        con.execute(f"INSERT INTO {table} SELECT {made} FROM range(20000) AS r(i)")
        con.execute("CHECKPOINT")
        column = con.execute(
            f"SELECT column_name FROM duckdb_columns() WHERE table_name = '{table}' AND data_type = 'VARCHAR'"
        ).fetchone()
    assert column is not None
    bad = overwritten(path, tmp_path, block_of(path, table, column[0], 10_000))
    with open_recording(bad) as recording:
        assert recording.damage is not None
        assert recording.damage.tables == (table,)
        assert recording.damage.holes == ()
        assert recording.channels[0] in ("body", "bus 0")
        assert len(frames_of(recording)[0]) == 3


def test_nothing_is_written_to_it(whole: Path, tmp_path: Path) -> None:
    path = overwritten(whole, tmp_path, block_of(whole, "frames", "payload", 150_000))
    with open_recording(path) as recording, pytest.raises(OpenError) as caught:
        recording.add_marker(T0, "here")
    assert str(caught.value) == f"{path}: The recording is damaged, so no marker is kept in it."


def test_a_lost_catalogue_is_told(whole: Path, tmp_path: Path) -> None:
    path = tmp_path / "damaged.duckdb"
    shutil.copy(whole, path)
    with path.open("r+b") as stream:
        stream.seek(20)
        stream.write(os.urandom(12_000))
    with pytest.raises((FormatError, OpenError)) as caught:
        open_recording(path)
    assert caught.value.hint


def test_a_damaged_log_counts_up_to_where_it_is_whole(tmp_path: Path) -> None:
    path, left = tmp_path / "van.duckdb", tmp_path / "left.duckdb"
    ones = np.ones(1_000, np.uint8)
    with RecordingWriter(path, about={"start_ns": str(T0)}, bench={}) as writer:
        for part in range(10):
            t_ns = T0 + (part * 1_000 + np.arange(1_000, dtype=np.int64)) * MS
            writer.add(
                FrameBatch(
                    t_ns, ("body",), 0 * ones, ones.astype(np.uint32), 0 * ones, ones, ones.astype(np.uint64), None,
                    int(t_ns[-1]),
                )
            )  # fmt: skip
            writer.commit()
        for suffix in ("", ".wal"):
            shutil.copy(f"{path}{suffix}", f"{left}{suffix}")
    log = left.with_name("left.duckdb.wal")
    with log.open("r+b") as stream:
        stream.seek(log.stat().st_size // 2)
        stream.write(os.urandom(200))
    before = log.read_bytes()
    with open_recording(left) as recording:
        assert recording.damage == Damage((), {}, (), True)
        times = frames_of(recording)[0]
        assert len(times) in range(1_000, 9_000, 1_000)
        assert recording.end_ns == int(times[-1])
    assert log.read_bytes() == before
