"""What may happen to a live scene: adapters that are missing or pulled out, databases that are gone, a full disk."""

from __future__ import annotations

import re
import shutil
import time
from collections import namedtuple
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from plugged import WAIT_S, driving
from scripted import BENCH
from walked import found_next

from busprobe.recording.read import open_recording
from busprobe.session import live, readers
from busprobe.session.live_scene import LiveScene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import SourceNow
from busprobe.session.verifying import verify
from busprobe.timeline import TRUE, UNKNOWN
from busprobe.tui.view.health import problem_rows

Usage = namedtuple("Usage", "total used free")


@pytest.fixture(autouse=True)
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """And patience: a reader that a busy machine holds up is not what these are about."""
    monkeypatch.setattr(readers, "BACK_OFF_S", (0.05,))
    monkeypatch.setattr(live, "SILENT_S", 2.0)


def until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < end, "it does not come"
        time.sleep(0.01)


def source(scene: LiveScene, name: str) -> SourceNow | None:
    return next((s for s in scene.snapshot().sources if s.name == name), None)


def is_up(scene: LiveScene, name: str) -> bool:
    found = source(scene, name)
    return found is not None and found.is_up


def code(scene: LiveScene, name: str) -> int:
    found = scene.snapshot().signal(name)
    assert found is not None
    return found.code


def record(scene: LiveScene, path: Path) -> None:
    assert scene.start_recording(str(path)) == ""
    until(lambda: scene.snapshot().recorder is not None)


def wanted(scene: LiveScene) -> str:
    return "\n".join(row.as_text() for row in problem_rows(scene.snapshot(), "", 200))


def replay_says_the_same(path: Path) -> None:
    with open_recording(path) as kept:
        log = kept.events()
    assert verify(path, BENCH).log == log


def test_without_any_source_it_opens_and_goes_on_when_one_is_plugged_in(tmp_path: Path) -> None:
    """Sources are down and say what to do, signals unknown; recorded from the start, the replay says the same."""
    path = tmp_path / "later.duckdb"
    with driving(is_in=False) as (scene, bus, box):
        until(lambda: len(scene.snapshot().sources) == 2)
        picture = scene.snapshot()
        assert [(s.name, s.is_up, s.trouble) for s in picture.sources] == [
            ("body", False, "body is not plugged in.\nPlug it in."),
            ("box", False, "box is not plugged in.\nPlug it in."),
        ]
        assert picture.failure == ""
        assert {s.value for s in picture.signals} == {None}
        assert "body is not plugged in." in wanted(scene)
        until(lambda: scene.snapshot().t_ns > picture.t_ns + 200_000_000)  # time goes on without any source
        record(scene, path)
        time.sleep(0.3)
        bus.is_in.set()
        until(lambda: is_up(scene, "body") and code(scene, "gear") == TRUE)
        assert not is_up(scene, "box")
        box.is_in.set()
        until(lambda: is_up(scene, "box") and code(scene, "battery") == TRUE)
        assert "Plug it in" not in wanted(scene)
        assert scene.snapshot().frames.count.sum() > 0
    replay_says_the_same(path)


def test_an_adapter_pulled_out_and_back(tmp_path: Path) -> None:
    """Down with what to do, its signals unknown; up again by itself; the replay has the same log."""
    path = tmp_path / "out.duckdb"
    with driving() as (scene, bus, _box):
        record(scene, path)
        until(lambda: is_up(scene, "body") and code(scene, "gear") == TRUE)
        bus.is_in.clear()
        until(lambda: not is_up(scene, "body") and "Plug it in" in wanted(scene))
        assert code(scene, "gear") == UNKNOWN
        assert code(scene, "battery") == TRUE
        out = scene.snapshot()
        bus.is_in.set()
        until(lambda: is_up(scene, "body") and code(scene, "gear") == TRUE)
        found = source(scene, "body")
        assert found is not None
        assert found.gaps >= 1
        assert found.trouble == ""
        assert bus.opened == 2
    replay_says_the_same(path)
    down = out.downs["body"].last
    assert down is not None
    with closing(open_scene(path)) as replay:
        until(lambda: replay.snapshot().loaded == 1.0)
        assert replay.player is not None
        replay.player.seek(out.t_ns)
        for picture in (out, replay.snapshot()):
            gear, moving = picture.signal("gear"), picture.signal("moving")
            assert gear is not None
            assert moving is not None
            assert (gear.text, gear.since_ns) == ("unknown (adapter down)", down.begin_ns)
            assert moving.text == "unknown (speed: adapter down)"


@pytest.mark.parametrize("out", ["body", "box"])
def test_a_recording_begun_while_a_source_is_out(out: str, tmp_path: Path) -> None:
    path = tmp_path / "while_out.duckdb"
    with driving() as (scene, bus, box):
        source_out = bus if out == "body" else box
        until(lambda: is_up(scene, "body") and is_up(scene, "box"))
        source_out.is_in.clear()
        until(lambda: not is_up(scene, out))
        record(scene, path)
        time.sleep(0.5)
        source_out.is_in.set()
        until(lambda: is_up(scene, out) and code(scene, "gear") == TRUE and code(scene, "battery") == TRUE)
    replay_says_the_same(path)


def test_the_disk_gets_full_while_it_records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Recording stops and says why, what was recorded can be opened, and the picture goes on."""
    path = tmp_path / "full.duckdb"
    with driving() as (scene, _bus, _box):
        until(lambda: is_up(scene, "body") and code(scene, "gear") == TRUE)
        record(scene, path)
        until(lambda: int(scene.snapshot().frames.count.sum()) > 100)
        monkeypatch.setattr(shutil, "disk_usage", lambda _path: Usage(10**12, 10**12, 150 * 1024**2))
        told = "less than 200 MB free on the disk of full.duckdb: recording stopped."
        until(lambda: told in wanted(scene))
        recorder = scene.snapshot().recorder
        assert recorder is not None
        assert recorder.failure == told
        found_next(scene)
        assert scene.guide.told.startswith("Nothing is being recorded")
        before_ns = scene.snapshot().t_ns
        until(lambda: scene.snapshot().t_ns > before_ns + 500_000_000 and code(scene, "gear") == TRUE)
        assert scene.snapshot().failure == ""
    with open_recording(path) as kept:
        assert kept.frame_count > 0


@pytest.mark.parametrize("out", ["body", "box"])
@pytest.mark.parametrize("before", [False, True], ids=["never there", "gone before"])
def test_a_source_that_is_not_there_all_through_a_recording(out: str, before: bool, tmp_path: Path) -> None:
    """The replay shows it down from the start like the live picture, and why; verify says it was never there."""
    path = tmp_path / "without.duckdb"
    with driving(is_in=before) as (scene, bus, box):
        gone, other = (bus, box) if out == "body" else (box, bus)
        other.is_in.set()
        until(lambda: is_up(scene, other.name) and is_up(scene, out) == before)
        gone.is_in.clear()
        until(lambda: not is_up(scene, out))
        record(scene, path)
        until(lambda: scene.snapshot().t_ns > scene.snapshot().start_ns + 700_000_000)
        live = scene.snapshot()
    notes = verify(path, BENCH).notes
    assert any(re.fullmatch(rf"{out} was never there: .+; its signals are unknown\.", note) for note in notes)
    assert not [note for note in notes if "was down" in note]
    with closing(open_scene(path)) as replay:
        until(lambda: replay.snapshot().loaded == 1.0)
        assert replay.player is not None
        replay.player.seek(live.t_ns)
        then = replay.snapshot()
    assert {s.name: (s.kind, s.is_up) for s in live.sources} == {s.name: (s.kind, s.is_up) for s in then.sources}
    (told,) = (s for s in then.sources if s.name == out)
    assert told.trouble.startswith(out)
    assert live.downs == then.downs
    assert [(s.text, s.since_ns, s.edges) for s in live.signals] == [
        (s.text, s.since_ns, s.edges) for s in then.signals
    ]
    name, word = ("gear", "adapter down") if out == "body" else ("rear_door", "box down")
    found = then.signal(name)
    assert found is not None
    assert (found.text, found.since_ns) == (f"unknown ({word})", live.start_ns)


def test_a_bus_on_which_nothing_is_said_is_there_all_the_same(tmp_path: Path) -> None:
    path = tmp_path / "quiet.duckdb"
    with driving() as (scene, bus, _box):
        bus._drive = [batch.cut(0, 0) for batch in bus._drive]
        record(scene, path)
        until(lambda: is_up(scene, "body") and scene.snapshot().t_ns > scene.snapshot().start_ns + 500_000_000)
    assert "Nothing came from body; its signals are unknown." in verify(path, BENCH).notes
    with closing(open_scene(path)) as replay:
        until(lambda: replay.snapshot().loaded == 1.0)
        assert {s.name: s.is_up for s in replay.snapshot().sources} == {"body": True, "box": True}
