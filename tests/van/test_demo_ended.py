"""The demo's van dies: the dashboard says that, and not what would help with a vehicle."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from busprobe.session.attention import attention
from busprobe.session.live_scene import LiveScene
from busprobe.van.demo import DemoScene, open_demo
from busprobe.van.process import VanProcess

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals")
PATIENCE_S = 60.0


def kill(van: VanProcess) -> None:
    van._process.kill()
    van._process.wait()


def test_killed_it_is_said_what_has_ended_and_what_to_do(tmp_path: Path) -> None:
    scene = open_demo(tmp_path)
    assert isinstance(scene, DemoScene)
    try:
        assert scene.snapshot().failure == ""
        scene.van.toggle("bus silent")
        assert list(scene.van.faults_set) == ["bus silent"]
        kill(scene.van)
        end = time.monotonic() + PATIENCE_S
        while not any(source.trouble for source in LiveScene.snapshot(scene).sources):
            assert time.monotonic() < end
            time.sleep(0.1)
        told = attention(scene.snapshot())
        assert told[0].what.startswith("The simulated van has ended.")
        assert 'start "busprobe demo" again' in told[0].what
        assert told[0].is_bad
        assert not [one for one in told if "busprobe simulate" in one.what or "Look at" in one.what]
        assert list(scene.van.faults_set) == []
    finally:
        scene.close()
