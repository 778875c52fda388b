"""The live vehicle as a scene, with sources that play a drive made beforehand."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from scripted import BENCH, ScriptedSource, van_batches
from walked import found_next

from busprobe.frames import LATE, FrameBatch, InputBatch, StateBatch, join_frames
from busprobe.recording.read import open_recording
from busprobe.recording.walk_events import walk_results
from busprobe.session import readers
from busprobe.session.attention import attention
from busprobe.session.live_scene import LiveScene
from busprobe.session.verifying import load_plan, verify
from busprobe.sources.clock import Clock
from busprobe.timeline import NEVER

Rows = TypeVar("Rows", FrameBatch, InputBatch)
SECONDS, BEFORE = 40, 25
WAIT_S = 60.0


class GatedSource(ScriptedSource):
    """Waits for `gate` before it gives its batch number BEFORE."""

    def __init__(self, name: str, batches: list[FrameBatch] | list[InputBatch]) -> None:
        super().__init__(name, batches)
        self.gate = threading.Event()

    def read(self) -> FrameBatch | InputBatch:
        if self.at < BEFORE or self.gate.is_set():
            return super().read()
        self.gate.wait(0.02)
        last = self._batches[BEFORE - 1]
        return replace(last.cut(0, 0), complete_to_ns=last.complete_to)


def now_batches(seed: int) -> tuple[list[FrameBatch], list[InputBatch]]:
    """The drive as if it began now."""
    frames, polls = van_batches(seed, SECONDS)
    by = Clock().now_ns() - int(polls[0].t_ns[0])

    def moved(batch: Rows) -> Rows:
        complete = batch.complete_to
        return replace(batch, t_ns=batch.t_ns + by, complete_to_ns=None if complete is None else complete + by)

    return [moved(b) for b in frames], [moved(b) for b in polls]


@contextmanager
def driving(seed: int = 1) -> Iterator[tuple[LiveScene, list[GatedSource]]]:
    frames, polls = now_batches(seed)
    sources = [GatedSource("body", frames), GatedSource("box", polls)]
    with pytest.MonkeyPatch.context() as patch:  # a machine that is busy holds up what never is silent
        patch.setattr("busprobe.session.live.SILENT_S", WAIT_S)
        scene = LiveScene(*load_plan(BENCH), sources)
    try:
        yield scene, sources
    finally:
        scene.close()


def until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < end, "it does not come"
        time.sleep(0.01)


def taken(scene: LiveScene) -> int:
    return int(scene.snapshot().frames.count.sum())


def rows(sources: Sequence[ScriptedSource], start: int, stop: int) -> int:
    return sum(map(len, sources[0]._batches[start:stop]))


def test_a_recording_switched_on_in_mid_run_starts_a_log_that_its_replay_equals(tmp_path: Path) -> None:
    path = tmp_path / "second.duckdb"
    with driving() as (scene, sources):
        until(lambda: taken(scene) == rows(sources, 0, BEFORE))
        assert scene.start_recording(str(tmp_path / "second")) == ""
        until(lambda: scene.snapshot().recorder is not None)
        assert taken(scene) == 0
        for source in sources:
            source.gate.set()
        until(lambda: taken(scene) == rows(sources, BEFORE, SECONDS))
        assert scene.start_recording("other") == "Recording to second.duckdb already."
        result = found_next(scene)
        assert scene.guide.told == ""
        until(lambda: all(s.done.is_set() for s in sources))
    with open_recording(path) as kept:
        assert kept.frame_count == rows(sources, BEFORE, SECONDS)
        log = tuple(line for line in kept.events() if line.kind != "walk")
        assert walk_results(kept.events()) == (result,)
    replayed = verify(path, BENCH)
    assert replayed.log == log
    assert len(log) > 3


def test_switched_off_the_file_is_closed_and_the_picture_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "short.duckdb"
    with driving() as (scene, sources):
        assert scene.stop_recording() == "Nothing is being recorded."
        scene.start_recording(str(path))
        until(lambda: scene.snapshot().recorder is not None)
        for source in sources:
            source.gate.set()
        until(lambda: all(s.done.is_set() for s in sources))
        assert scene.stop_recording() == ""
        until(lambda: scene.snapshot().recorder is None)
        assert not path.with_name("short.duckdb.wal").exists()
        before = scene.snapshot().t_ns
        assert before >= scene.snapshot().start_ns
        assert "is there already" in scene.start_recording(str(path))
        found_next(scene)
        assert scene.guide.told.startswith("Nothing is being recorded")
    with open_recording(path) as kept:
        log = kept.events()
    assert verify(path, BENCH).log == log


def test_recorders_that_were_only_wanted_are_closed_too(tmp_path: Path) -> None:
    with driving() as (scene, _sources):
        for k in range(5):
            scene.start_recording(str(tmp_path / f"{k}.duckdb"))
            scene.stop_recording()
    assert not list(tmp_path.glob("*.wal"))
    assert not [t for t in threading.enumerate() if t.name == "record"]


def test_when_payloads_changed_is_known_though_nothing_has_looked_before() -> None:
    with driving() as (scene, sources):
        for source in sources:
            source.gate.set()
        until(lambda: taken(scene) == rows(sources, 0, SECONDS))
        table = scene.snapshot().frames
    sent = join_frames(sources[0]._batches)
    for identifier, changed_ns in zip(table.identifier.tolist(), table.changed_ns.tolist(), strict=True):
        own = sent.take(sent.identifier == identifier)
        other = np.flatnonzero((np.diff(own.payload) != 0) | (np.diff(own.length) != 0)) + 1
        assert changed_ns == (int(own.t_ns[other[-1]]) if len(other) else NEVER)
    assert max(table.changed_ns) > NEVER


def test_what_the_picture_says_of_signals_frames_and_sources() -> None:
    with driving() as (scene, sources):
        for source in sources:
            source.gate.set()
        until(lambda: taken(scene) == rows(sources, 0, SECONDS) and len(scene.snapshot().sources) == 2)
        picture = scene.snapshot()
        assert (picture.mode, picture.is_playing, picture.lost, picture.failure) == ("live", True, 0, "")
        assert {s.name: s.kind for s in picture.sources} == {"body": "bus", "box": "box"}
        identifier = int(picture.frames.identifier[0])
        detail = scene.frame_detail("body", identifier, False)
        assert detail is not None
        assert detail.payload == picture.frames.words[0].astype("<u8").tobytes()[: picture.frames.length[0]]
        path = scene.path("gear")
        assert path is not None
        assert path.signal.name == "gear"
        assert path.stages[0].title == "Frame"
        assert scene.path("nothing of that name") is None
        assert scene.player is None


def test_a_signal_has_its_path_before_the_first_result(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(LiveScene, "_go_on", lambda _: None)
    with driving() as (scene, _sources):
        path = scene.path("gear")
        assert path is not None
        assert [box.cause_ns for box in path.boxes] == [None] * len(path.boxes)
        assert path.boxes


def test_a_run_that_failed_closes_its_recording(tmp_path: Path) -> None:
    """Also where what readers still bring fails as well."""
    with driving() as (scene, sources):
        scene.start_recording(str(tmp_path / "failed.duckdb"))
        until(lambda: scene.snapshot().recorder is not None)
        for _ in range(50):
            sources[0]._batches.insert(BEFORE, replace(sources[0]._batches[BEFORE], channels=("body", "chassis")))
        sources[0]._pause_s = 0.005
        sources[0].gate.set()
        until(lambda: 'Channel "chassis" of the recording matches no bus.' in scene.snapshot().failure)
        scene._thread.join(WAIT_S)
        assert not [t for t in threading.enumerate() if t.name == "record"]
    with open_recording(tmp_path / "failed.duckdb") as kept:
        assert kept.frame_count >= 0


def test_what_cannot_be_taken_in_is_recorded_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted, shown, and marked late: its replay has the log of the live run."""
    path = tmp_path / "flood.duckdb"
    with driving() as (scene, sources):
        scene.start_recording(str(path))
        until(lambda: scene.snapshot().recorder is not None)
        sources[0]._pause_s = sources[1]._pause_s = 0.02
        for source in sources:
            source.gate.set()
        until(lambda: sources[0].at > BEFORE + 4)
        monkeypatch.setattr(readers, "MOST_ROWS", -1)
        until(lambda: scene.snapshot().lost > 0)
        monkeypatch.undo()
        until(lambda: all(s.done.is_set() for s in sources))
        until(lambda: any("in the recording, flagged late" in one.what for one in attention(scene.snapshot())))
        lost, taken_in = scene.snapshot().lost, sum(status.rows for status in scene._run.status.values())
    with open_recording(path) as kept:
        late = count = 0
        for batch in kept.batches():
            if isinstance(batch, FrameBatch):
                late += int(np.count_nonzero(batch.flags & LATE))
            elif isinstance(batch, InputBatch) and batch.late is not None:
                late += int(batch.late.sum())
            count += 0 if isinstance(batch, StateBatch) else len(batch)
        log = kept.events()
    assert late == lost
    assert lost < count <= lost + taken_in
    assert verify(path, BENCH).log == log
