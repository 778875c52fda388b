"""The trigger log of the screens has the sleeps and wakes that `verify` tells of too, live and replayed."""

from __future__ import annotations

import time
from pathlib import Path

from scripted import BENCH, ScriptedSource
from test_live_scene import now_batches, until

from busprobe.grown import Growing, order
from busprobe.results import BUS_KINDS, Logged, LogLine, TriggerEntry
from busprobe.session.live_scene import LiveScene
from busprobe.session.logged import TriggerLog
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.verifying import load_plan, verify

ROOT = Path(__file__).parents[2]
RECORDING = ROOT / "recordings" / "five_faults.duckdb"
WAIT_S = 60.0
S = 1_000_000_000


def entry(t_ns: int) -> TriggerEntry:
    return TriggerEntry("Pressed", t_ns, t_ns, {})


def line(kind: str, t_ns: int, decided_ns: int) -> LogLine:
    return LogLine(decided_ns, t_ns, -1, kind, "body")


def test_both_stand_in_the_order_in_which_they_could_be_told() -> None:
    log, entries = TriggerLog(), Growing[TriggerEntry]()
    entries.add([entry(1), entry(2)])
    log.add([line("asleep", 0, 2), line("failed", 1, 1)])
    first = log.with_entries(entries.so_far([entry(9)]))
    assert [(one.name, one.t_ns) for one in first] == [("Pressed", 1), ("body", 0), ("Pressed", 2), ("Pressed", 9)]
    entries.add([entry(9)])
    log.add([line("awake", 7, 7)])
    second = log.with_entries(entries.so_far(()))
    assert [one.t_ns for one in second] == [1, 0, 2, 7, 9]
    assert second.shared_with(first) == 3
    assert [one.t_ns for one in first] == [1, 0, 2, 9]


def test_stamps_that_step_back_are_put_in_order() -> None:
    log, entries = TriggerLog(), Growing[TriggerEntry]()
    entries.add([entry(10), entry(20)])
    log.add([line("awake", 15, 15)])
    log.with_entries(entries.so_far(()))
    entries.add([entry(5)])
    log.add([line("asleep", 3, 4)])
    again = log.with_entries(entries.so_far(()))
    assert [one.decided_ns for one in again] == [4, 5, 10, 15, 20]


def test_a_replay_has_the_lines_of_verify() -> None:
    report = verify(RECORDING, ROOT / "dbc_samples" / "patrol_van.toml")
    buses = [one for one in report.log if one.kind in BUS_KINDS]
    assert len(buses) == 3
    both: list[Logged] = [*report.triggers, *buses]
    wanted = sorted(both, key=order)
    scene = open_scene(RECORDING)
    assert isinstance(scene, ReplayScene)
    try:
        deadline = time.monotonic() + WAIT_S
        while scene.snapshot().loaded < 1.0:
            assert time.monotonic() < deadline
            time.sleep(0.02)
        assert list(scene.player.triggers) == wanted
        # At an instant: what could be told by then, a sleep 2 s after its last frame.
        asleep = buses[-1]
        assert asleep.kind == "asleep"
        scene.player.seek(asleep.decided_ns - 1)
        assert asleep not in scene.snapshot().triggers
        scene.player.seek(asleep.decided_ns)
        assert scene.snapshot().triggers[-1] == asleep
    finally:
        scene.close()


def test_a_live_run_tells_them_as_they_come() -> None:
    """Of the van's bus nothing is heard for 5 s."""
    frames, polls = now_batches(1)
    began = int(polls[0].t_ns[0])
    hushed = [b.cut(0, 0) if began + 15 * S < (b.complete_to or 0) < began + 20 * S else b for b in frames]
    scene = LiveScene(*load_plan(BENCH), [ScriptedSource("body", hushed), ScriptedSource("box", polls)])
    try:
        until(lambda: any(isinstance(one, LogLine) and one.kind == "awake" for one in scene.snapshot().triggers))
        told = [one for one in scene.snapshot().triggers if isinstance(one, LogLine)]
        assert [(one.name, one.kind) for one in told[-2:]] == [("body", "asleep"), ("body", "awake")]
        assert list(scene.snapshot().triggers) == sorted(scene.snapshot().triggers, key=order)
    finally:
        scene.close()
