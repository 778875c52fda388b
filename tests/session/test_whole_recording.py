"""What a player knows of the whole recording, whatever instant is shown."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from walked import found_next

from busprobe.session.player import ReplayPlayer
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene

DRIVE = Path(__file__).parents[2] / "recordings" / "five_faults.duckdb"
PATIENCE_S = 60.0


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ReplayScene]:
    """The shipped drive with faults, loaded to its end."""
    path = shutil.copy(DRIVE, tmp_path_factory.mktemp("drive") / "drive.duckdb")
    opened = open_scene(Path(path))
    assert isinstance(opened, ReplayScene)
    deadline = time.monotonic() + PATIENCE_S
    while opened.snapshot().loaded < 1:
        assert time.monotonic() < deadline
        time.sleep(0.02)
    yield opened
    opened.close()


@pytest.fixture
def player(scene: ReplayScene) -> ReplayPlayer:
    scene.player.seek(scene.snapshot().start_ns)
    return scene.player


def test_all_results_are_there_at_the_start(scene: ReplayScene, player: ReplayPlayer) -> None:
    checks, triggers = player.checks, player.triggers
    assert not scene.snapshot().triggers
    player.seek(scene.snapshot().end_ns)
    at_end = scene.snapshot()
    assert [c.verdict for c in checks] == [c.verdict for c in at_end.checks]
    assert [len(c.occurrences) for c in checks] == [len(c.occurrences) for c in at_end.checks]
    assert list(triggers) == list(at_end.triggers)


@pytest.mark.parametrize("name", ["gear", "rear_door", "brake", "moving"])
def test_edges_are_those_that_the_picture_counts_and_that_steps_go_to(
    scene: ReplayScene, player: ReplayPlayer, name: str
) -> None:
    edges = player.edges(name)
    stepped = []
    while (mark := player.step_mark(1, "edge", name)) is not None:
        stepped.append(mark.t_ns)
    assert stepped == edges.tolist()
    player.seek(scene.snapshot().end_ns)
    now = scene.snapshot().signal(name)
    assert now is not None
    assert now.edges == len(edges) > 0


def test_a_signal_that_is_not_there_has_no_edges(player: ReplayPlayer) -> None:
    assert len(player.edges("tea")) == 0


def test_labels_of_a_signal(scene: ReplayScene) -> None:
    gear = scene.snapshot().signal("gear")
    assert gear is not None
    assert set("PRND") <= set(gear.labels)


def test_a_replay_keeps_no_result_of_a_walk(scene: ReplayScene) -> None:
    assert found_next(scene).signal == "ignition"
    assert scene.guide.told == "A recording that is replayed keeps no result of a walk."
    assert scene.guide.recorded == ()
    assert scene.folder.name.startswith("drive")
