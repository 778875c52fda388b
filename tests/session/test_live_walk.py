"""The guided walk of a live vehicle: kept from its first result on, in every recording, and seen in its replay."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest
from scripted import BENCH
from test_live_scene import BEFORE, GatedSource, driving, rows, taken, until
from walked import found_next

from busprobe.recording.read import open_recording
from busprobe.recording.walk_events import walk_event, walk_results
from busprobe.results import LogLine, WalkOutcome, WalkResult
from busprobe.session.live_scene import LiveScene
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.surveying import survey
from busprobe.session.verifying import verify
from busprobe.session.walk_kept import KeptWalk


def record(scene: LiveScene, path: Path) -> None:
    assert scene.start_recording(str(path)) == ""
    until(lambda: scene.snapshot().recorder is not None and scene.snapshot().recorder.name == path.name)


def stop(scene: LiveScene) -> None:
    assert scene.stop_recording() == ""
    until(lambda: scene.snapshot().recorder is None)


def open_gates(scene: LiveScene, sources: Sequence[GatedSource]) -> None:
    for source in sources:
        source.gate.set()
    until(lambda: all(source.done.is_set() for source in sources) and taken(scene) > 0)
    until(lambda: scene.snapshot().t_ns > scene.snapshot().start_ns)


def recorded_in(path: Path) -> tuple[WalkResult, ...]:
    with open_recording(path) as kept:
        return walk_results(kept.events())


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, WalkResult, WalkResult, WalkResult]:
    """A recording switched on in mid-walk: two results from before, one of them superseded by the third."""
    path = tmp_path_factory.mktemp("walk") / "walk.duckdb"
    with driving() as (scene, sources):
        until(lambda: taken(scene) == rows(sources, 0, BEFORE))
        early, other = found_next(scene), found_next(scene)
        assert scene.guide.told.startswith("Nothing is being recorded")
        time.sleep(0.01)
        record(scene, path)
        open_gates(scene, sources)
        scene.guide.ask(early.signal)
        late = found_next(scene)
        assert scene.guide.told == ""
    return path, early, other, late


def test_results_from_before_a_recording_are_in_it_with_their_own_times(
    walk: tuple[Path, WalkResult, WalkResult, WalkResult],
) -> None:
    path, early, other, late = walk
    assert recorded_in(path) == (early, other, late)
    with open_recording(path) as kept:
        assert kept.start_ns is not None
        assert early.t_ns <= other.t_ns < kept.start_ns <= late.t_ns
    assert (early.signal, late.signal, other.signal) == ("ignition", "ignition", "brake")


def test_verify_and_survey_have_them_and_the_log_is_that_of_the_run(
    walk: tuple[Path, WalkResult, WalkResult, WalkResult],
) -> None:
    path, *results = walk
    report = verify(path, BENCH)
    with open_recording(path) as kept:
        assert report.log == tuple(line for line in kept.events() if line.kind != "walk")
    assert report.walk == survey(path).walk == tuple(results)


def test_the_replay_shows_all_and_marks_those_found_in_it(
    walk: tuple[Path, WalkResult, WalkResult, WalkResult],
) -> None:
    path, *results = walk
    late = results[-1]
    scene = open_scene(path)
    assert isinstance(scene, ReplayScene)
    with closing(scene):
        until(lambda: scene.snapshot().loaded == 1)
        assert scene.guide.recorded == tuple(results)
        marks = [mark for mark in scene.player.marks if mark.kind == "walk"]
        assert [(mark.t_ns, mark.text) for mark in marks] == [(late.t_ns, "ignition: not seen")]
        assert list(scene.player.marks) == sorted(scene.player.marks, key=lambda mark: mark.t_ns)
        assert scene.player.step_mark(1, "walk") == marks[0]
        assert scene.player.position_ns == min(late.t_ns, scene.snapshot().end_ns)
        assert scene.player.step_mark(1, "walk") is None


def test_every_recording_of_a_sitting_has_all_that_was_found_so_far(tmp_path: Path) -> None:
    first, second = tmp_path / "first.duckdb", tmp_path / "second.duckdb"
    with driving() as (scene, sources):
        until(lambda: taken(scene) == rows(sources, 0, BEFORE))
        record(scene, first)
        results = [found_next(scene)]
        stop(scene)
        results.append(found_next(scene))
        record(scene, second)
        results.append(found_next(scene))
        open_gates(scene, sources)
    assert recorded_in(first) == tuple(results[:1])
    assert recorded_in(second) == tuple(results)
    assert [r.signal for r in results] == ["ignition", "brake", "park_brake"]


class Kept:
    """A recorder that remembers what it was given."""

    def __init__(self) -> None:
        self.lines: list[LogLine] = []

    def put(self, batch: object) -> None:
        raise AssertionError("a walk gives lines only")

    def put_lines(self, lines: Sequence[LogLine]) -> None:
        self.lines += lines


def test_a_result_found_while_recording_is_switched_is_in_each_recording_once() -> None:
    """Whatever the threads do: never twice, never left out of the last one."""
    results = [WalkResult("it", "door", WalkOutcome.CONFIRMED, 6, 0, 0, t, 1, "") for t in range(2000)]
    walk, recordings = KeptWalk(), [Kept() for _ in range(200)]

    def find() -> None:
        for result in results:
            walk.add(result)

    finding = threading.Thread(target=find)
    finding.start()
    for recording in recordings:
        walk.record_to(recording)
        walk.record_to(None)
    walk.record_to(recordings[-1])
    recordings[-1].lines.clear()
    walk.record_to(recordings[-1])
    finding.join()
    for recording in recordings:
        times = [line.t_ns for line in recording.lines]
        assert times == list(range(len(times)))
    assert recordings[-1].lines == [walk_event(result) for result in results]
