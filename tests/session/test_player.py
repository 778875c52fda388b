"""The player: where each step leads."""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np
import pytest

from busprobe.engine.history import History
from busprobe.frames import ERROR, FrameBatch
from busprobe.session.player import ReplayPlayer
from busprobe.session.snapshot import Mark
from busprobe.session.stores import MemoryStore
from busprobe.timeline import FALSE, TRUE, UNKNOWN, Changes

MARKS = (
    Mark(100, "trigger", "one"),
    Mark(200, "failed", "two"),
    Mark(200, "marker", "three"),
    Mark(700, "gap", "four"),
)
POINTS = [(100, FALSE), (300, TRUE), (400, UNKNOWN), (500, FALSE), (600, TRUE)]
FRAMES = [0, 50, 50, 250, 900]


def frames(times: Sequence[int], flags: Sequence[int] | None = None) -> FrameBatch:
    n = len(times)
    return FrameBatch(
        np.array(times, np.int64), ("body",), np.zeros(n, np.uint8), np.full(n, 0x100, np.uint32),
        np.array(flags or [0] * n, np.uint8), np.zeros(n, np.uint8), np.zeros(n, np.uint64),
    )  # fmt: skip


@pytest.fixture
def player() -> ReplayPlayer:
    store = MemoryStore()
    store.add(frames(FRAMES[:3]))
    store.add(frames(FRAMES[3:]))
    history = History(True)
    t, code = zip(*POINTS, strict=True)
    history.append(Changes(np.array(t), np.array(code, np.uint8), None, 1000))
    return ReplayPlayer(
        store, {"lamp": history}, lambda: (0, 1000), lambda: MARKS, lambda t, note: f"{t} {note}", lambda: ((), ())
    )


@pytest.mark.parametrize(
    ("at", "direction", "kind", "leads_to"),
    [
        (0, 1, "any", 100),
        (100, 1, "any", 200),
        (200, 1, "any", 700),
        (700, 1, "any", None),
        (700, -1, "any", 200),
        (150, -1, "any", 100),
        (100, -1, "any", None),
        (0, 1, "failed", 200),
        (0, 1, "gap", 700),
        (1000, -1, "trigger", 100),
        (0, 1, "undecided", None),
        (0, 1, "edge", 300),
        (300, 1, "edge", 600),
        (600, 1, "edge", None),
        (1000, -1, "edge", 600),
        (600, -1, "edge", 300),
        (300, -1, "edge", None),
        (450, 1, "edge", 600),
        (550, -1, "edge", 300),
    ],
)
def test_steps_to_marks(player: ReplayPlayer, at: int, direction: int, kind: str, leads_to: int | None) -> None:
    player.seek(at)
    found = player.step_mark(direction, kind, "lamp")
    assert (None if found is None else found.t_ns) == leads_to
    assert player.position_ns == (at if leads_to is None else leads_to)


@pytest.mark.parametrize(
    ("at", "direction", "leads_to"),
    [(0, 1, 50), (50, 1, 250), (60, 1, 250), (250, 1, 900), (900, 1, 900), (900, -1, 250), (250, -1, 50), (50, -1, 0),
     (0, -1, 0), (1000, -1, 900)],
)  # fmt: skip
def test_steps_to_frames(player: ReplayPlayer, at: int, direction: int, leads_to: int) -> None:
    player.seek(at)
    player.step_frame(direction)
    assert player.position_ns == leads_to


def test_all_edges_of_a_signal_and_none_of_a_name_that_is_not_there(player: ReplayPlayer) -> None:
    assert player.edges("lamp").tolist() == [300, 600]
    assert player.edges("siren").tolist() == []
    assert player.step_mark(1, "edge", "siren") is None


@pytest.mark.parametrize(("wanted", "got"), [(-5, 0), (5, 5), (5000, 1000)])
def test_seeks_stay_within_the_recording(player: ReplayPlayer, wanted: int, got: int) -> None:
    player.seek(wanted)
    assert player.position_ns == got


@pytest.mark.parametrize(("wanted", "got"), [(0.001, 0.1), (2.0, 2.0), (1e6, 100.0)])
def test_speeds_stay_within_the_table(player: ReplayPlayer, wanted: float, got: float) -> None:
    player.set_speed(wanted)
    assert player.speed == got


def test_a_marker_is_set_where_the_player_is(player: ReplayPlayer) -> None:
    player.seek(420)
    assert player.add_marker("lamp late") == "420 lamp late"


def test_playing_runs_with_the_clock_and_stops_at_the_end(
    player: ReplayPlayer, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = 50.0
    monkeypatch.setattr(time, "monotonic", lambda: now)
    player.set_speed(2.0)
    player.seek(100)
    player.play()
    now += 100e-9
    assert (player.position_ns, player.is_playing) == (300, True)
    player.set_speed(1.0)
    now += 100e-9
    assert player.position_ns == 400
    player.pause()
    now += 1.0
    assert (player.position_ns, player.is_playing) == (400, False)
    player.play()
    now += 1.0
    assert (player.position_ns, player.is_playing) == (1000, False)
    # What has played to its end stays where it is put; playing again begins at the start.
    player.seek(200)
    now += 1e-7
    assert (player.position_ns, player.is_playing) == (200, False)
    player.seek(1000)
    player.play()
    assert (player.position_ns, player.is_playing) == (0, True)


def test_a_stamp_that_steps_back_counts_at_the_newest_so_far() -> None:
    store = MemoryStore()
    store.add(frames([10, 30, 20]))
    kept = store.add(frames([25, 40], [0, ERROR]))
    assert kept.t_ns.tolist() == [30]
    assert store.between(10, 30).t_ns.tolist() == [30, 30, 30]
    assert store.between(30, 100).t_ns.tolist() == []
    assert [store.next_time(10, 1), store.next_time(30, 1), store.next_time(30, -1)] == [30, None, 10]
