"""A fault that nobody foresaw in a thread of its own: it is said, not a picture that stands still."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from scripted import BENCH, ScriptedSource, van_batches
from test_live_scene import driving, until

from busprobe.errors import DeviceError, said
from busprobe.session.live_scene import LiveScene
from busprobe.session.recorder import Recorder
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.verifying import load_plan


def fault(*_: object) -> None:
    raise ValueError("a hole in the logic")


SAID = "a fault in busprobe itself, ValueError: a hole in the logic."


@pytest.mark.parametrize(
    ("error", "text"),
    [
        (ValueError("a hole\nin the logic"), SAID),
        (KeyError(), "a fault in busprobe itself, KeyError."),
        (OSError(28, "No space left on device"), "No space left on device."),
        (OSError("odd"), "a fault in busprobe itself, OSError: odd."),
        (DeviceError("The plug is out.", hint="Plug it in."), "The plug is out.\nPlug it in."),
    ],
    ids=["unforeseen", "without words", "system", "system without words", "own"],
)
def test_what_is_said(error: Exception, text: str) -> None:
    assert said(error) == text


def test_of_the_live_run_is_in_the_picture_and_closes_the_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with driving() as (scene, _sources):
        assert scene.start_recording(str(tmp_path / "run.duckdb")) == ""
        until(lambda: scene.snapshot().recorder is not None)
        monkeypatch.setattr(scene._run.engine, "advance", fault)
        until(lambda: scene.snapshot().failure == SAID)
        until(lambda: not scene._thread.is_alive())
        assert not [t for t in threading.enumerate() if t.name == "record"]
        told = scene.start_recording(str(tmp_path / "second.duckdb"))
        assert told == f"Nothing is listened to any more, so nothing can be recorded: {SAID}"
        assert not (tmp_path / "second.duckdb").exists()


def test_of_the_recorder_is_its_failure_and_nothing_waits_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    frames, _ = van_batches(1, 2)
    recorder = Recorder(tmp_path / "run.duckdb", about={}, bench={})
    monkeypatch.setattr(recorder._writer, "add", fault)
    recorder.start()
    recorder.put(frames[0])
    until(lambda: not recorder.is_alive())
    for batch in frames:
        recorder.put(batch)
        recorder.put_lines(())
    status = recorder.stop()
    assert status.failure == f"run.duckdb: {SAID}"
    assert status.waiting == 0


def test_of_the_loading_of_a_recording_is_in_its_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "run.duckdb"
    plan, databases = load_plan(BENCH)
    scene = LiveScene(plan, databases, [ScriptedSource("body", []), ScriptedSource("box", [])])
    assert scene.start_recording(str(path)) == ""
    until(lambda: scene.snapshot().recorder is not None)
    scene.close()
    monkeypatch.setattr(ReplayScene, "_publish", fault)
    replay = open_scene(path)
    try:
        until(lambda: replay.snapshot().failure == SAID)
        assert replay.snapshot().loaded < 1
    finally:
        replay.close()


def test_the_run_goes_on_while_a_recording_is_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk may be slow, and the file long."""
    may_close = threading.Event()
    with driving() as (scene, sources):
        assert scene.start_recording(str(tmp_path / "slow.duckdb")) == ""
        until(lambda: scene.snapshot().recorder is not None)
        recorder = scene._recorder
        assert recorder is not None
        close = recorder._writer.close

        def late() -> None:
            assert may_close.wait(60)
            close()

        monkeypatch.setattr(recorder._writer, "close", late)
        assert scene.stop_recording() == ""
        until(lambda: scene._run.recorder is None)
        for source in sources:
            source.gate.set()
        reached = scene.snapshot().t_ns
        until(lambda: scene.snapshot().t_ns > reached + 500_000_000)
        assert scene.snapshot().recorder is not None
        assert scene.stop_recording() == "Recording is being switched already: wait a moment."
        assert scene.start_recording(str(tmp_path / "next.duckdb")).startswith("Recording is being switched already")
        may_close.set()
        until(lambda: scene.snapshot().recorder is None)
