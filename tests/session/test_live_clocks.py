"""A live scene whose system clock is set, or whose machine sleeps: no source is down for it, the replay is the same."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from plugged import driving
from test_live_trouble import code, is_up, record, replay_says_the_same, until

from busprobe.session import live
from busprobe.session.live_scene import LiveScene
from busprobe.timeline import TRUE

HOUR_NS = 3_600_000_000_000
SLEEP_NS = 120_000_000_000


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine is not what these are about."""
    monkeypatch.setattr(live, "SILENT_S", 2.0)


def gaps(scene: LiveScene) -> list[int]:
    return [source.gaps for source in scene.snapshot().sources]


def goes_on(scene: LiveScene) -> None:
    """For two seconds of the time shown, at least, with both sources."""
    upto_ns = scene.snapshot().t_ns + 2_000_000_000
    until(lambda: scene.snapshot().t_ns > upto_ns and code(scene, "gear") == TRUE and code(scene, "battery") == TRUE)


@pytest.mark.parametrize("step_ns", [HOUR_NS, -HOUR_NS], ids=["forward", "back"])
def test_the_system_clock_steps_by_an_hour(step_ns: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "set.duckdb"
    real = time.time_ns
    with driving() as (scene, _bus, _box):
        until(lambda: is_up(scene, "body") and is_up(scene, "box"))
        record(scene, path)
        goes_on(scene)
        before_ns = scene.snapshot().t_ns
        monkeypatch.setattr(time, "time_ns", lambda: real() + step_ns)
        goes_on(scene)
        assert 0 < scene.snapshot().t_ns - before_ns < HOUR_NS // 2
        assert gaps(scene) == [0, 0]
    monkeypatch.undo()
    replay_says_the_same(path)


def test_the_machine_sleeps(tmp_path: Path) -> None:
    """Event time counts the sleep while time.monotonic stands, as on Linux with the lid shut."""
    path = tmp_path / "slept.duckdb"
    with driving() as (scene, _bus, _box):
        until(lambda: is_up(scene, "body") and is_up(scene, "box"))
        record(scene, path)
        goes_on(scene)
        clock, before_ns = scene._run.clock, scene.snapshot().t_ns
        awake = clock._steady_ns
        clock._steady_ns = lambda: awake() + SLEEP_NS
        until(lambda: scene.snapshot().t_ns > before_ns + SLEEP_NS)
        goes_on(scene)
        assert gaps(scene) == [0, 0]
        assert all(source.is_up for source in scene.snapshot().sources)
    replay_says_the_same(path)
