"""The walk and the wiggle test of a live scene, while hands work at the vehicle and at the keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from hands import Hands, hands

from busprobe.results import WalkOutcome
from busprobe.session.attention import attention
from busprobe.session.walk_seen import Happening, Seen
from busprobe.session.wiggle import Wiggle

MS = 1_000_000
SOON_MS = 100 + 200
MOST_TRIES = 30
HINDERED_S = 0.2
"""Who looks on this seldom is held up by the machine."""


def record(watcher: Hands, path: Path) -> None:
    assert watcher.scene.start_recording(str(path)) == ""
    watcher.watch(until=lambda: watcher.scene.snapshot().recorder is not None)


def test_recording_switched_on_and_off_with_the_pedal_down_leaves_the_step_as_it_is(tmp_path: Path) -> None:
    with hands() as watcher:
        watcher.ask("brake")
        watcher.pedal(pressed=True)
        record(watcher, tmp_path / "walk.duckdb")
        watcher.watch(0.3)
        assert (watcher.step.edges, watcher.step.losses) == (1, 0)
        watcher.pedal(pressed=False)
        assert watcher.step.edges == 2
        assert watcher.scene.stop_recording() == ""
        watcher.watch(until=lambda: watcher.scene.snapshot().recorder is None)
        for pressed in (True, False, True, False):
            watcher.pedal(pressed=pressed)
        result = watcher.scene.guide.found[-1]
    assert (result.signal, result.outcome, result.edges, result.losses) == ("brake", WalkOutcome.CONFIRMED, 6, 0)
    assert watcher.heard.count(Happening.EDGE) == 6
    assert watcher.heard.count(Happening.LOSS) == 0


def test_a_step_asked_for_with_the_pedal_down_counts_from_its_release_on() -> None:
    with hands() as watcher:
        watcher.bus.is_pressed = True
        watcher.watch(until=watcher.says("brake", "1"))
        watcher.ask("brake")
        watcher.heard.clear()
        for pressed in (False, True, False, True, False, True):
            watcher.pedal(pressed=pressed)
        watcher.watch(3.0)  # held: not at rest, whatever was counted
        assert not [result.outcome for result in watcher.scene.guide.found]
        watcher.pedal(pressed=False)
        watcher.watch(until=lambda: bool(watcher.scene.guide.found))
        result = watcher.scene.guide.found[-1]
    assert (result.outcome, result.edges) == (WalkOutcome.CONFIRMED, 6)
    assert watcher.heard[:2] == [Happening.EDGE, Happening.PROMPT], "at rest: now"


def test_what_is_skipped_is_not_seen() -> None:
    with hands() as watcher:
        watcher.bus.gear = "D"
        watcher.watch(until=watcher.says("gear", "D"))
        watcher.ask("gear")
        watcher.watch(0.1)
        for _ in range(3):
            watcher.scene.guide.go_on(watcher.scene.snapshot())
        watcher.watch(until=lambda: watcher.step.position == 4)
        assert [place for place, _ in watcher.step.skipped] == [0, 1, 2]
        watcher.scene.guide.go_on(watcher.scene.snapshot())
        result = watcher.scene.guide.found[-1]
    assert result.text == "1 of 5 seen; skipped: P (said D), R (said D), N (said D), P (said D)"
    assert result.outcome is WalkOutcome.NOT_SEEN


def test_a_chattering_contact_is_no_loss_and_its_edges_are_counted_as_they_come() -> None:
    with hands() as watcher:
        watcher.scene.guide.start_wiggle("rear_door")
        watcher.watch(until=lambda: watcher.wiggle.start_ns is not None)
        watcher.box.chatters = True
        watcher.watch(until=watcher.says("rear_door", "unknown (chattering)"))
        watcher.watch(0.3)
        now = watcher.scene.snapshot().signal("rear_door")
        assert now is not None
        assert now.bounce.is_chattering
        assert any(one.what.startswith("Chatters now, since ") for one in attention(watcher.scene.snapshot()))
        so_far = watcher.wiggle
        assert so_far.raw_edges > 40, "counted while it goes on"
        assert (so_far.chatters, so_far.losses) == (1, 0)
        watcher.box.chatters = watcher.box.is_open = False
        watcher.watch(until=watcher.says("rear_door", "off"))
        watcher.watch(until=lambda: watcher.wiggle.raw_edges >= watcher.box.changes)
        result = watcher.scene.guide.end_wiggle()
    assert result is not None
    assert result.losses == 0
    assert result.text == f"{watcher.box.changes} raw edges, chattered once"
    assert watcher.heard.count(Happening.EDGE) > 10
    assert Happening.LOSS not in watcher.heard


@pytest.mark.parametrize("what", ["walk", "wiggle"])
def test_a_bus_that_falls_silent_is_a_loss_as_soon_as_the_signal_is_too_old(what: str) -> None:
    """Well before logic can tell whether the bus sleeps, which takes 2 s."""
    with hands() as watcher:
        if what == "walk":
            watcher.ask("brake")
        else:
            watcher.scene.guide.start_wiggle("brake")
        watcher.watch(0.2)
        assert Happening.LOSS not in watcher.heard
        took, unhindered = [], []
        while len(took) < 3 or (len(took) < MOST_TRIES and min(took) > SOON_MS * MS):
            watcher.bus.is_silent = False
            watcher.watch(until=lambda: not seen_by(watcher, what).is_lost)
            watcher.watch(0.2)
            heard, watcher.longest_s = watcher.heard.count(Happening.LOSS), 0.0
            watcher.bus.is_silent = True
            watcher.watch(until=lambda: watcher.heard.count(Happening.LOSS) > heard)  # noqa: B023
            took.append(watcher.scene.snapshot().end_ns - watcher.bus.last_ns)
            if watcher.longest_s < HINDERED_S:
                unhindered.append(took[-1])
        watcher.watch(3.0)  # asleep by now
        losses = seen_by(watcher, what).losses
    assert min(took) <= SOON_MS * MS, "its age and 200 ms; once at least unhindered"
    assert max(unhindered, default=0) <= 1000 * MS, "on a busy machine"
    assert losses == watcher.heard.count(Happening.LOSS)
    assert losses == len(took)
    if what == "wiggle":
        assert watcher.wiggle.last_loss_ns == pytest.approx(watcher.bus.last_ns + 100 * MS, abs=2 * MS)


def seen_by(watcher: Hands, what: str) -> Seen | Wiggle:
    return watcher.step if what == "walk" else watcher.wiggle
