"""What may happen to a live scene: adapters that are missing when it opens."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from scripted import BENCH, ScriptedSource
from test_live_scene import now_batches, rows, taken, until

from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch, InputBatch
from busprobe.recording.read import open_recording
from busprobe.session import readers
from busprobe.session.live_scene import LiveScene
from busprobe.session.verifying import load_plan, verify
from busprobe.sources.clock import Clock
from busprobe.tui.view.health import problem_rows

SECONDS = 40


class PluggedSource(ScriptedSource):
    """Can be plugged in and pulled out."""

    def __init__(self, name: str, batches: Sequence[FrameBatch | InputBatch], *, is_in: bool, pause_s: float) -> None:
        super().__init__(name, batches, pause_s=pause_s)
        self.is_in = threading.Event()
        if is_in:
            self.is_in.set()

    def open(self, clock: Clock) -> None:
        if not self.is_in.is_set():
            raise DeviceError(f"{self.name} is not plugged in.", hint="Plug it in.")
        super().open(clock)

    def read(self) -> FrameBatch | InputBatch:
        if not self.is_in.is_set():
            raise DeviceError(f"{self.name} was pulled out.", hint="Plug it in again.")
        return super().read()


@contextmanager
def driving(*, is_in: bool, pause_s: float = 0.05) -> Iterator[tuple[LiveScene, list[PluggedSource]]]:
    frames, polls = now_batches(1)
    sources = [
        PluggedSource(name, given, is_in=is_in, pause_s=pause_s) for name, given in (("body", frames), ("box", polls))
    ]
    scene = LiveScene(*load_plan(BENCH), sources)
    try:
        yield scene, sources
    finally:
        scene.close()


@pytest.fixture(autouse=True)
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readers, "BACK_OFF_S", (0.05,))


def wanted(scene: LiveScene) -> str:
    return "\n".join(row.as_text() for row in problem_rows(scene.snapshot(), "", 200))


def test_without_any_source_it_opens_and_goes_on_when_one_is_plugged_in(tmp_path: Path) -> None:
    """Sources are down and say what to do, signals unknown; recorded from the start, the replay says the same."""
    path = tmp_path / "later.duckdb"
    with driving(is_in=False) as (scene, sources):
        until(lambda: len(scene.snapshot().sources) == 2)
        picture = scene.snapshot()
        assert [(s.name, s.is_up, s.trouble) for s in picture.sources] == [
            ("body", False, "body is not plugged in.\nPlug it in."),
            ("box", False, "box is not plugged in.\nPlug it in."),
        ]
        assert picture.failure == ""
        assert {s.text for s in picture.signals} == {"not seen yet"}
        assert "body is not plugged in." in wanted(scene)
        assert scene.start_recording(str(path)) == ""
        until(lambda: scene.snapshot().recorder is not None)
        time.sleep(0.3)
        for one in sources:
            one.is_in.set()
        until(lambda: taken(scene) == rows(sources, 0, SECONDS))
        until(lambda: all(s.done.is_set() for s in sources))
        assert "not plugged in" not in wanted(scene)
        assert any(s.edges for s in scene.snapshot().signals)
    with open_recording(path) as kept:
        log = kept.events()
        assert kept.frame_count == rows(sources, 0, SECONDS)
    assert verify(path, BENCH).log == log
    assert len(log) > 3


def test_time_goes_on_without_any_source() -> None:
    with driving(is_in=False) as (scene, _sources):
        before = scene.snapshot().t_ns
        until(lambda: scene.snapshot().t_ns > before + 200_000_000)
