"""The recorder: nothing recorded is lost, whatever happens to the process or the disk."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import time
from collections import namedtuple
from contextlib import ExitStack, nullcontext
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from killed_live import RecordLive
from scripted import ScriptedSource, play, van_batches

from busprobe.errors import DeviceError, OpenError
from busprobe.frames import FrameBatch, Int64Array, UInt64Array
from busprobe.recording.read import open_recording
from busprobe.session import recorder as recorder_module
from busprobe.session.recorder import Recorder

HERE = Path(__file__).parent
KILLS, AT_ONCE = 20, 5
KILLED_EVERY_NS = 50_000_000
Usage = namedtuple("Usage", "total used free")


def frames(start: int, count: int) -> FrameBatch:
    rng = np.random.default_rng(start)
    return FrameBatch(
        np.arange(start, start + count) * 1_000_000, ("c",), np.zeros(count, np.uint8),
        np.full(count, 0x123, np.uint32), np.zeros(count, np.uint8), np.full(count, 8, np.uint8),
        rng.integers(0, 2**62, count).astype(np.uint64),
    )  # fmt: skip


def killed_runs(
    folder: Path, numbers: range, draw: random.Random, command: RecordLive | None
) -> list[tuple[Path, list[int]]]:
    """Recordings of processes killed at random instants, and the times that each had read to.

    command: killed among them.
    """
    with ExitStack() as at_the_end:
        running = []
        for number in numbers:
            path = folder / f"killed_{number}.duckdb"
            counting = [sys.executable, str(HERE / "killed.py"), str(path)]
            process = at_the_end.enter_context(subprocess.Popen(counting, stdout=subprocess.PIPE, text=True))
            at_the_end.callback(process.kill)
            running.append((path, process))
        ends = []
        for path, process in running:
            assert process.stdout is not None
            first = process.stdout.readline()
            ends.append((path, process, first, time.monotonic() + draw.uniform(0.3, 2.0)))
        if command is not None:
            command.wait_begun()
            time.sleep(draw.uniform(0.0, 1.0))
            command.kill()
        found = []
        for path, process, first, end in sorted(ends, key=lambda e: e[3]):
            time.sleep(max(0.0, end - time.monotonic()))
            assert process.poll() is None, "it ended before it was killed"
            process.kill()
            found.append((path, [int(line) for line in (first + process.communicate()[0]).split()]))
        return found


def held_up(times: list[int], from_ns: int) -> int:
    """For how long the machine kept a process that reads every 50 ms from it, after a time."""
    pairs = pairwise(t for t in times if t >= from_ns - KILLED_EVERY_NS)
    return sum(max(later - earlier - 2 * KILLED_EVERY_NS, 0) for earlier, later in pairs)


@pytest.mark.parametrize("group", range(KILLS // AT_ONCE))
def test_a_killed_process_loses_a_second_at_most(group: int, tmp_path: Path) -> None:
    """The file opens each time; what is there is the beginning without a gap, up to the last second.

    One of each group is the command itself, on a bus: it begins with the first frame that it hears.
    """
    draw, numbers = random.Random(group), range(group * AT_ONCE, (group + 1) * AT_ONCE)
    with RecordLive(tmp_path / "live.duckdb") if os.name == "posix" else nullcontext() as command:
        runs = killed_runs(tmp_path, numbers[1:] if command else numbers, draw, command)
    for path, read in runs:
        counts, times = kept_in(path)
        assert np.array_equal(counts, np.arange(len(counts)))
        if len(times):
            reached = int(times[-1])
            assert read[-1] - reached - held_up(read, reached) <= 1_000_000_000
    if command is not None:
        counts, _ = kept_in(command.path)
        assert len(counts)
        assert np.array_equal(counts, np.arange(len(counts)) + counts[0])
        assert command.missing_s(int(counts[-1])) <= 1.0


def kept_in(path: Path) -> tuple[UInt64Array, Int64Array]:
    """Payloads of all frames, and their times."""
    with open_recording(path) as kept:
        batches = [batch for batch in kept.batches() if isinstance(batch, FrameBatch)]
    return (
        np.concatenate([*(b.payload for b in batches), np.empty(0, np.uint64)]),
        np.concatenate([*(b.t_ns for b in batches), np.empty(0, np.int64)]),
    )


def test_recording_stops_cleanly_before_the_disk_is_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A message says so, the run goes on, and what was recorded is there."""
    path = tmp_path / "full.duckdb"
    recorder = Recorder(path, about={}, bench={})
    recorder.start()
    recorder.put(frames(0, 1000))
    until = time.monotonic() + 60
    while recorder.status().rows < 1000 and time.monotonic() < until:
        time.sleep(0.02)
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: Usage(10**12, 10**12, 150 * 1024**2))
    while not recorder.status().failure and time.monotonic() < until:
        time.sleep(0.02)
    recorder.put(frames(1000, 1000))
    status = recorder.stop()
    assert status.failure == "less than 200 MB free on the disk of full.duckdb: recording stopped."
    monkeypatch.undo()
    with open_recording(path) as kept:
        assert kept.frame_count == 1000


def test_the_run_goes_on_when_recording_has_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_module, "LEAST_FREE", 10**15)
    frame_batches, polls = van_batches(8, 30)
    outcome = play([ScriptedSource("body", frame_batches), ScriptedSource("box", polls)], tmp_path / "none.duckdb")
    assert outcome.run.frames == sum(map(len, frame_batches))
    assert outcome.recorder is not None
    assert "recording stopped" in outcome.recorder.failure


def test_a_ring_keeps_to_its_size_and_says_what_it_dropped(tmp_path: Path) -> None:
    path = tmp_path / "ring.duckdb"
    limit = 6_000_000
    recorder = Recorder(path, about={}, bench={}, ring_bytes=limit)
    recorder.start()
    for k in range(12):
        recorder.put(frames(k * 130_000, 130_000))
        until = time.monotonic() + 60
        while recorder.status().rows < (k + 1) * 130_000 and time.monotonic() < until:
            time.sleep(0.02)
    status = recorder.stop()
    assert status.failure == ""
    assert status.dropped_before_ns is not None
    with open_recording(path) as kept:
        assert kept.about["dropped_before_ns"] == str(status.dropped_before_ns)
        first = next(int(b.t_ns[0]) for b in kept.batches() if isinstance(b, FrameBatch) and len(b))
        assert first >= status.dropped_before_ns
        assert 0 < kept.frame_count < 12 * 130_000
    assert path.stat().st_size < 3 * limit


def test_a_second_program_is_refused_while_one_records(tmp_path: Path) -> None:
    path = tmp_path / "busy.duckdb"
    process = subprocess.Popen([sys.executable, str(HERE / "killed.py"), str(path)], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        process.stdout.readline()
        with pytest.raises(OpenError) as error:
            open_recording(path)
        assert f"in use by process {process.pid}" in str(error.value)
    finally:
        process.kill()
        process.communicate()


def test_a_disk_that_is_gone_stops_the_recording_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recorder = Recorder(tmp_path / "gone.duckdb", about={}, bench={})

    def gone(path: Path) -> Usage:
        raise OSError(5, "Input/output error", str(path))

    monkeypatch.setattr(shutil, "disk_usage", gone)
    recorder.start()
    recorder.put(frames(0, 10))
    recorder.join(timeout=30)
    assert not recorder.is_alive()
    status = recorder.stop()
    assert status.failure == "gone.duckdb: Input/output error."
    assert status.free == 0


def test_nothing_to_listen_to_leaves_no_file(tmp_path: Path) -> None:
    """The same command can be given again once the adapter is plugged in."""
    path = tmp_path / "again.duckdb"
    with pytest.raises(DeviceError):
        play([ScriptedSource("body", [], missing=True)], path)
    assert not list(tmp_path.iterdir())


def test_a_copy_without_the_log_lacks_no_more_than_what_came_since_the_last_checkpoint(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recorder_module, "CHECKPOINT_S", 0.0)
    path = tmp_path / "drive.duckdb"
    recorder = Recorder(path, about={}, bench={})
    recorder.start()
    recorder.put(frames(0, 1000))
    until = time.monotonic() + 60
    while (recorder.status().rows < 1000 or path.with_name("drive.duckdb.wal").exists()) and time.monotonic() < until:
        time.sleep(0.02)
    copy = tmp_path / "copy.duckdb"
    # Another process copies: opening the file here would end its lock.
    subprocess.run([sys.executable, "-c", "import shutil, sys; shutil.copy(*sys.argv[1:])", path, copy], check=True)
    recorder.stop()
    with open_recording(copy) as kept:
        assert kept.frame_count == 1000


def test_a_full_disk_is_told_before_recording_begins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run with a recording does not begin, and nothing is left behind."""
    usage = shutil.disk_usage(tmp_path)._replace(free=150 * 1024**2)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    path = tmp_path / "full.duckdb"
    told = (
        f"{path}: only 150 MB are free on this disk, and recording needs 200 MB.\nMake room, or record to another disk."
    )
    with pytest.raises(OpenError) as caught:
        Recorder(path, about={}, bench={})
    assert str(caught.value) == told
    with pytest.raises(OpenError) as caught:
        play([ScriptedSource("body", [])], path)
    assert str(caught.value) == told
    assert not list(tmp_path.iterdir())
