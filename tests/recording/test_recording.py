"""What is written comes back: rows, order, names, texts and how far each source is complete."""

from __future__ import annotations

import shutil
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.frames import (
    EXTENDED,
    FD,
    LATE,
    Batch,
    Condition,
    FrameBatch,
    InputBatch,
    SourceState,
    StateBatch,
    Tail,
    empty_frames,
    join_frames,
)
from busprobe.recording import write
from busprobe.recording.read import Recording, open_recording
from busprobe.recording.write import RecordingWriter
from busprobe.results import LogLine

SECOND = 1_000_000_000
T0 = 1_764_000_000 * SECOND
FD_LENGTHS = [0, 1, 7, 8, 12, 16, 20, 24, 32, 48, 64]
"""Payload lengths of classic and FD frames: ISO 11898-1, table of the DLC."""


def frames(
    t: list[int],
    *,
    channels: tuple[str, ...] = ("body",),
    channel: list[int] | None = None,
    identifier: list[int] | None = None,
    flags: list[int] | None = None,
    length: list[int] | None = None,
    seed: int = 0,
    complete_to_ns: int | None = None,
) -> FrameBatch:
    """A batch with payloads from a seed, zero past each length."""
    n = len(t)
    size = np.array([8] * n if length is None else length, np.uint8)
    octets = np.random.default_rng(seed).integers(0, 256, (n, 64), np.uint8)
    octets[np.arange(64) >= size[:, None]] = 0
    words = octets.view("<u8").astype(np.uint64)
    rows = np.flatnonzero(size > 8)
    return FrameBatch(
        np.array(t, np.int64),
        channels,
        np.array([0] * n if channel is None else channel, np.uint8),
        np.array([0x100] * n if identifier is None else identifier, np.uint32),
        np.array([0] * n if flags is None else flags, np.uint8),
        size,
        words[:, 0].copy(),
        Tail(rows, words[rows, 1:]) if len(rows) else None,
        complete_to_ns,
    )


def polls(
    box: str,
    t: list[int],
    mask: list[int],
    analogue: list[list[int]] | None = None,
    late: list[bool] | None = None,
    complete_to_ns: int | None = None,
) -> InputBatch:
    return InputBatch(
        box,
        np.array(t, np.int64),
        np.array(mask, np.uint64),
        None if analogue is None else np.array(analogue, np.int32).reshape(len(t), -1),
        None if late is None else np.array(late, np.bool_),
        complete_to_ns,
    )


def record(path: Path, *batches: Batch) -> Path:
    with RecordingWriter(path, about={"vehicle": "Roads patrol van 12"}, bench={}, overwrite=True) as writer:
        for batch in batches:
            writer.add(batch)
    return path


def frames_of(recording: Recording, rows: int, **chosen: set[int]) -> FrameBatch:
    return join_frames([b for b in recording.batches(rows, **chosen) if isinstance(b, FrameBatch)])


def polls_of(recording: Recording, rows: int, box: str) -> list[tuple[object, ...]]:
    """Each poll of a box as (time, mask, millivolts, late)."""
    out: list[tuple[object, ...]] = []
    for batch in recording.batches(rows):
        if isinstance(batch, InputBatch) and batch.box == box:
            late = np.zeros(len(batch), np.bool_) if batch.late is None else batch.late
            volts = [None] * len(batch) if batch.analogue is None else [tuple(row) for row in batch.analogue.tolist()]
            out += zip(batch.t_ns.tolist(), batch.mask.tolist(), volts, late.tolist(), strict=True)
    return out


def assert_same_frames(found: FrameBatch, written: FrameBatch) -> None:
    for column in ("t_ns", "identifier", "flags", "length", "payload"):
        array, expected = getattr(found, column), getattr(written, column)
        assert array.dtype == expected.dtype, column
        np.testing.assert_array_equal(array, expected, err_msg=column)
    assert [found.channels[c] for c in found.channel] == [written.channels[c] for c in written.channel]
    np.testing.assert_array_equal(_wide(found), _wide(written))


def _wide(batch: FrameBatch) -> np.ndarray:
    out = np.zeros((len(batch), 8), np.uint64)
    words = batch.words()
    out[:, : words.shape[1]] = words
    return out


one_frame = st.tuples(
    st.integers(0, 400_000_000),
    st.integers(0, 2),
    st.integers(0, 0x1FFF_FFFF),
    st.integers(0, 255),
    st.sampled_from(FD_LENGTHS),
)


@settings(max_examples=25, deadline=None)
@given(
    rows=st.lists(one_frame, max_size=40),
    cuts=st.lists(st.integers(0, 40), max_size=4),
    batch_rows=st.integers(1, 50),
    seed=st.integers(0, 1000),
)
def test_frames_come_back_as_written_for_any_batches(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[tuple[int, int, int, int, int]],
    cuts: list[int],
    batch_rows: int,
    seed: int,
) -> None:
    whole = frames(
        [T0 + k * 50_000_000 + row[0] for k, row in enumerate(rows)],
        channels=("body", "drive", "trailer"),
        channel=[row[1] for row in rows],
        identifier=[row[2] for row in rows],
        flags=[row[3] for row in rows],
        length=[row[4] for row in rows],
        seed=seed,
    )
    edges = [0, *sorted(min(c, len(rows)) for c in cuts), len(rows)]
    parts = [whole.take(np.arange(a, b)) for a, b in pairwise(edges)]
    path = record(tmp_path_factory.mktemp("any") / "a.duckdb", *parts)
    with open_recording(path) as recording:
        assert recording.frame_count == len(rows)
        found = [b for b in recording.batches(batch_rows) if isinstance(b, FrameBatch)]
    assert_same_frames(join_frames(found), whole)
    assert all(len(b) <= batch_rows for b in found)
    assert_bounds_hold(found)


def assert_bounds_hold(batches: list[FrameBatch]) -> None:
    """No frame comes later that lies before the time to which an earlier batch was complete."""
    complete = None
    for batch in batches:
        in_time = batch.t_ns[batch.flags & LATE == 0]
        if complete is not None and len(in_time):
            assert in_time.min() >= complete
        complete = batch.complete_to_ns


def test_tails_of_every_fd_length(tmp_path: Path) -> None:
    whole = frames(list(range(T0, T0 + 11)), flags=[FD] * 11, length=FD_LENGTHS, identifier=list(range(11)))
    with open_recording(record(tmp_path / "fd.duckdb", whole)) as recording:
        for rows in (1, 2, 3, 100):
            assert_same_frames(frames_of(recording, rows), whole)
        assert_same_frames(frames_of(recording, 3, identifiers={5, 9, 10}), whole.take(np.array([5, 9, 10])))


def test_channels_that_appear_later_and_between_boxes(tmp_path: Path) -> None:
    path = record(
        tmp_path / "a.duckdb",
        polls("box", [T0], [1]),
        frames([T0, T0 + 1], channels=("body",)),
        frames([T0 + 2, T0 + 3], channels=("drive", "body"), channel=[0, 1]),
    )
    with open_recording(path) as recording:
        assert recording.channels == ("body", "drive")
        assert recording.boxes == ("box",)
        found = frames_of(recording, 3)
    assert found.channels == ("body", "drive")
    assert found.channel.tolist() == [0, 0, 1, 0]


def test_chosen_identifiers_keep_the_times_of_all(tmp_path: Path) -> None:
    whole = frames(
        [T0 + k for k in range(6)],
        channels=("body", "drive"),
        channel=[0, 1] * 3,
        identifier=[1, 2, 3, 1, 2, 3],
        flags=[0, EXTENDED] * 3,
    )
    with open_recording(record(tmp_path / "a.duckdb", whole)) as recording:
        every = [b for b in recording.batches(2) if isinstance(b, FrameBatch)]
        some = [b for b in recording.batches(2, identifiers={2}) if isinstance(b, FrameBatch)]
        none = [b for b in recording.batches(2, identifiers=set()) if isinstance(b, FrameBatch)]
    assert [b.identifier.tolist() for b in some] == [[2], [], [2]]
    assert [len(b) for b in none] == [0, 0, 0]
    complete = [b.complete_to_ns for b in every]
    assert complete == [T0 + 2, T0 + 4, T0 + 5]
    assert [b.complete_to_ns for b in some] == [b.complete_to_ns for b in none] == complete


def test_polls_of_two_boxes(tmp_path: Path) -> None:
    path = record(
        tmp_path / "a.duckdb",
        polls("lamps", [T0, T0 + 10], [0, (1 << 64) - 1]),
        polls("battery", [T0 + 5], [3], [[12_600, -40]], [True]),
        polls("lamps", [T0 + 20], [5]),
        polls("battery", [T0 + 15, T0 + 25], [3, 2], [[12_500, 0], [-2_000_000_000, 1]]),
    )
    expected = {
        "lamps": [(T0, 0, None, False), (T0 + 10, (1 << 64) - 1, None, False), (T0 + 20, 5, None, False)],
        "battery": [
            (T0 + 5, 3, (12_600, -40), True),
            (T0 + 15, 3, (12_500, 0), False),
            (T0 + 25, 2, (-2_000_000_000, 1), False),
        ],
    }
    with open_recording(path) as recording:
        assert recording.poll_count == 6
        for rows in (1, 16, 32, 48, 1000):
            assert {box: polls_of(recording, rows, box) for box in recording.boxes} == expected


def test_polls_whose_analogue_lines_change(tmp_path: Path) -> None:
    path = record(
        tmp_path / "a.duckdb",
        polls("box", [T0, T0 + 1], [0, 1], [[1], [2]]),
        polls("box", [T0 + 2], [2]),
        polls("box", [T0 + 3], [3], [[]]),
        polls("box", [T0 + 4], [4], [[5, 6, 7]]),
    )
    with open_recording(path) as recording:
        found = polls_of(recording, 1000, "box")
        batches = [b for b in recording.batches() if isinstance(b, InputBatch)]
    assert found == [
        (T0, 0, (1,), False),
        (T0 + 1, 1, (2,), False),
        (T0 + 2, 2, None, False),
        (T0 + 3, 3, (), False),
        (T0 + 4, 4, (5, 6, 7), False),
    ]
    assert [b.complete_to for b in batches] == [T0, T0, T0, T0 + 4]


def test_states_in_time_order(tmp_path: Path) -> None:
    down = SourceState(T0 + 7, "box", Condition.DOWN, "no answer for 100 ms")
    up = SourceState(T0 + 9, "box", Condition.UP)
    path = record(tmp_path / "a.duckdb", StateBatch((down,), T0 + 8), StateBatch((up,)), frames([T0 + 50]))
    with open_recording(path) as recording:
        assert [b for b in recording.batches() if isinstance(b, StateBatch)] == [StateBatch((down, up), T0 + 50)]
        assert [b for b in recording.batches(1) if isinstance(b, StateBatch)] == [
            StateBatch((down,), T0 + 9),
            StateBatch((up,), T0 + 50),
        ]


def test_late_rows_are_kept_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "a.duckdb"
    with RecordingWriter(path, about={}, bench={}) as writer:
        writer.add(frames([T0, T0 - 5, T0 - 6, T0 + 1], flags=[0, LATE, LATE, 0]))
        writer.add(polls("box", [T0, T0 - 9], [0, 1], late=[False, True]))
        writer.commit()
        writer.add(frames([T0 - 7], flags=[LATE]))
    with open_recording(path) as recording:
        assert frames_of(recording, 2).flags.tolist() == [0, LATE, LATE, 0, LATE]
        counts = recording._con.execute("SELECT t_ns, source, value FROM states WHERE condition = 'late'").fetchall()
        assert [b.complete_to_ns for b in recording.batches(2) if isinstance(b, FrameBatch)] == [T0, T0 + 1, T0 + 1]
    assert counts == [(T0 - 5, "body", 2), (T0 - 9, "box", 1), (T0 - 7, "body", 1)]


def test_times_of_all_streams_advance_together(tmp_path: Path) -> None:
    step = 10_000_000
    path = record(
        tmp_path / "a.duckdb",
        frames([T0 + k * step // 10 for k in range(2000)]),
        polls("box", [T0 + k * step for k in range(200)], [0] * 200),
        StateBatch((SourceState(T0 + 50 * step, "box", Condition.UP),)),
    )
    reached = {"frames": T0, "polls": T0}
    apart = []
    with open_recording(path) as recording:
        for batch in recording.batches(160):
            if isinstance(batch, StateBatch):
                continue
            assert batch.complete_to is not None
            reached["frames" if isinstance(batch, FrameBatch) else "polls"] = batch.complete_to
            apart.append(abs(reached["frames"] - reached["polls"]))
    assert len(apart) > 20
    assert max(apart) <= 16 * step


def test_complete_to_of_the_end_is_the_recorded_one(tmp_path: Path) -> None:
    path = record(
        tmp_path / "a.duckdb",
        frames([T0], complete_to_ns=T0 + SECOND),
        frames([T0 + 1], channels=("drive",), complete_to_ns=T0 + 3 * SECOND),
        polls("box", [T0], [0], complete_to_ns=T0 + 2 * SECOND),
        empty_frames(("body",), T0 + 4 * SECOND),
    )
    with open_recording(path) as recording:
        ends = {type(b).__name__: b.complete_to_ns for b in recording.batches(1)}
        del ends["StateBatch"]
        assert (recording.start_ns, recording.end_ns) == (T0, T0 + 4 * SECOND)
    assert ends == {"FrameBatch": T0 + 3 * SECOND, "InputBatch": T0 + 2 * SECOND}


def test_a_channel_that_is_down_holds_nothing_back_at_the_end(tmp_path: Path) -> None:
    path = record(
        tmp_path / "a.duckdb",
        frames([T0], channels=("body",), complete_to_ns=T0 + 1),
        frames([T0 + SECOND], channels=("drive",), complete_to_ns=T0 + SECOND),
        StateBatch((SourceState(T0 + 5, "body", Condition.DOWN),)),
    )
    with open_recording(path) as recording:
        assert [b.complete_to_ns for b in recording.batches() if isinstance(b, FrameBatch)] == [T0 + SECOND]


def test_empty_recording(tmp_path: Path) -> None:
    with open_recording(record(tmp_path / "a.duckdb")) as recording:
        assert list(recording.batches()) == [StateBatch()]
        assert (recording.frame_count, recording.start_ns, recording.end_ns) == (0, None, None)
        assert (recording.channels, recording.boxes, recording.events()) == ((), (), ())


def test_sources_that_were_silent_still_say_how_far_they_are_complete(tmp_path: Path) -> None:
    path = record(tmp_path / "a.duckdb", empty_frames(("body",), T0), polls("box", [], [], complete_to_ns=T0 + 1))
    with open_recording(path) as recording:
        found = [(type(b).__name__, b.complete_to_ns) for b in recording.batches()]
        assert (recording.frame_count, recording.poll_count) == (0, 0)
    assert found == [("StateBatch", T0 + 1), ("InputBatch", T0 + 1), ("FrameBatch", T0)]


def test_texts_and_events_come_back(tmp_path: Path) -> None:
    path = tmp_path / "it's.duckdb"
    log = [
        LogLine(T0 + 9, T0 + 3, 4, "passed", "Rear white lamp follows reverse", "after 120 ms"),
        LogLine(T0 + 2, T0 + 2, 0, "asleep", "body"),
    ]
    about = {"vehicle": "Roads patrol van 12", "note": 'it\'s "quoted" – ß'}
    bench = {"van.toml": "[vehicle]\n", "patrol_van.dbc": 'VERSION ""\n'}
    with RecordingWriter(path, about=about, bench=bench) as writer:
        writer.add_events(log[:1])
        writer.commit()
        writer.add_events(log[1:])
    with open_recording(path) as recording:
        assert recording.about == {"format": "1", **about}
        assert recording.bench == bench
        assert recording.events() == tuple(log)


def test_a_stated_start_is_used(tmp_path: Path) -> None:
    path = tmp_path / "a.duckdb"
    with RecordingWriter(path, about={"start_ns": str(T0 - 5)}, bench={}) as writer:
        writer.add(frames([T0]))
    with open_recording(path) as recording:
        assert (recording.start_ns, recording.end_ns) == (T0 - 5, T0)


def test_frames_that_somebody_deleted_do_no_harm(tmp_path: Path) -> None:
    import duckdb

    path = record(tmp_path / "a.duckdb", frames([T0 + k for k in range(10)]))
    with duckdb.connect(str(path)) as con:
        con.execute("DELETE FROM frames WHERE rowid IN (0, 4, 9)")
    with open_recording(path) as recording:
        found = [b for b in recording.batches(3) if isinstance(b, FrameBatch)]
    assert [int(t) - T0 for b in found for t in b.t_ns] == [1, 2, 3, 5, 6, 7, 8]
    assert_bounds_hold(found)


def test_rows_are_flushed_before_they_are_too_many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(write, "FLUSH_ROWS", 4)
    parts = [frames([T0 + k, T0 + k + 1, T0 + k + 2], seed=k) for k in range(0, 12, 3)]
    with open_recording(record(tmp_path / "a.duckdb", *parts)) as recording:
        assert_same_frames(frames_of(recording, 5), join_frames(parts))


KILLED = """
import os, sys
sys.path[:0] = [sys.argv[2]]
from pathlib import Path
from test_recording import T0, RecordingWriter, frames
writer = RecordingWriter(Path(sys.argv[1]), about={"vehicle": "van"}, bench={"van.toml": "text"})
for k in range(20):
    writer.add(frames([T0 + k], seed=k))
    if k < 15:
        writer.commit()
os._exit(1)
"""


def test_committed_rows_survive_a_killed_process(tmp_path: Path) -> None:
    path = tmp_path / "killed.duckdb"
    run = subprocess.run([sys.executable, "-c", KILLED, str(path), str(Path(__file__).parent)], check=False)
    assert run.returncode == 1
    assert path.with_name("killed.duckdb.wal").exists()
    with open_recording(path) as recording:
        assert recording.bench == {"van.toml": "text"}
        found = frames_of(recording, 4)
    assert_same_frames(found, join_frames([frames([T0 + k], seed=k) for k in range(15)]))


def test_no_checkpoint_without_room_for_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.duckdb"
    monkeypatch.setattr(write, "SPARE_BYTES", 1 << 62)
    with RecordingWriter(path, about={}, bench={}) as writer:
        writer.add(frames([T0]))
        assert writer.checkpoint() is False
        assert writer.wal_bytes > 0
    assert path.with_name("a.duckdb.wal").exists()
    with open_recording(path) as recording:
        assert recording.frame_count == 1


def test_closing_leaves_one_file(tmp_path: Path) -> None:
    path = tmp_path / "a.duckdb"
    writer = RecordingWriter(path, about={}, bench={})
    writer.add(frames([T0]))
    assert writer.checkpoint() is True
    writer.add(frames([T0 + 1]))
    writer.close()
    writer.close()
    assert [p.name for p in tmp_path.iterdir()] == ["a.duckdb"]
    with pytest.raises(ValueError, match="the recording is closed"):
        writer.commit()


def test_bytes_a_frame(tmp_path: Path) -> None:
    """A frame with 6 bytes of noise takes less than 13 bytes, its share of an input box's polls included."""
    random = np.random.default_rng(1)
    n, polled = 250_000, 60_000
    batch = FrameBatch(
        T0 + np.sort(random.integers(0, 600_000_000, n)) * 1000,
        ("body",),
        np.zeros(n, np.uint8),
        random.choice(np.arange(0x100, 0x700, 48, np.uint32), n),
        np.zeros(n, np.uint8),
        np.full(n, 8, np.uint8),
        random.integers(0, 1 << 48, n, np.uint64),
    )
    mask = (np.arange(polled) // 500 % 1024).astype(np.uint64)
    box = InputBatch("box", T0 + np.arange(polled) * 10_000_000 + random.integers(0, 300_000, polled), mask)
    assert record(tmp_path / "a.duckdb", batch, box).stat().st_size / n < 13


def test_a_file_is_a_recording_from_its_start_without_its_log(tmp_path: Path) -> None:
    """Somebody copies it while it is written, and not the log beside it."""
    with RecordingWriter(tmp_path / "a.duckdb", about={"vehicle": "van"}, bench={"van.toml": "text"}) as writer:
        copy = tmp_path / "copy.duckdb"
        shutil.copy(writer.path, copy)
    with open_recording(copy) as kept:
        assert kept.about["vehicle"] == "van"
        assert kept.bench["van.toml"] == "text"
