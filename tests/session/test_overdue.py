"""A value older than its limit is shown as unknown at once, whatever logic will call it 2 s later."""

from __future__ import annotations

import time

import pytest
from hushed import driving
from test_live_scene import until

from busprobe.session import live
from busprobe.session.live_scene import LiveScene
from busprobe.session.origin import TOO_OLD
from busprobe.session.snapshot import SignalNow, SignalPath, Snapshot
from busprobe.session.wiggle import Wiggle, watch_wiggle
from busprobe.timeline import ASLEEP, TRUE, UNKNOWN
from busprobe.tui.view.spans import plain
from busprobe.tui.view.tiles import tile_lines

MS = 1_000_000
ENOUGH_OLD = 10
CYCLIC = ("gear", "speed", "brake", "park_brake", "turn", "key", "rpm")


def of(scene: LiveScene | Snapshot, name: str) -> SignalNow:
    picture = scene if isinstance(scene, Snapshot) else scene.snapshot()
    found = picture.signal(name)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def fallen() -> tuple[list[Snapshot], list[SignalPath], Wiggle]:
    """Pictures and ways of the gear from the last moments of a bus that lives until it is asleep, and a wiggle test."""
    with pytest.MonkeyPatch.context() as patient:  # who is held up by a busy machine is not silent
        patient.setattr(live, "SILENT_S", 5.0)
        for _ in range(10):
            pictures, ways, wiggle = falling()
            if min(sum(too_old(picture, name) for picture in pictures) for name in CYCLIC) > ENOUGH_OLD:
                break  # else the machine stood still just then
    return pictures, ways, wiggle


def falling() -> tuple[list[Snapshot], list[SignalPath], Wiggle]:
    with driving() as (scene, bus):
        until(lambda: all(of(scene, name).code <= TRUE for name in (*CYCLIC, "moving")))
        wiggle = Wiggle("gear")
        pictures: list[Snapshot] = []
        ways: list[SignalPath] = []
        bus.is_silent = True
        end = time.monotonic() + 60
        while not (pictures and of(pictures[-1], "gear").code == ASLEEP):
            assert time.monotonic() < end
            pictures.append(scene.snapshot())
            list(pictures[-1].signals)  # as they were shown then
            way = scene.path("gear")
            assert way is not None
            ways.append(way)
            wiggle, _ = watch_wiggle(wiggle, pictures[-1])
            time.sleep(0.02)
    return pictures, ways, wiggle


def too_old(picture: Snapshot, name: str) -> bool:
    now = of(picture, name)
    return now.age_ns is not None and now.max_age_ns is not None and now.age_ns > now.max_age_ns


@pytest.mark.parametrize("name", CYCLIC)
def test_no_picture_shows_a_value_that_is_too_old(name: str, fallen: tuple[list[Snapshot], object, object]) -> None:
    old = [picture for picture in fallen[0] if too_old(picture, name)]
    assert len(old) > ENOUGH_OLD
    assert {of(picture, name).code for picture in old} in ({UNKNOWN}, {UNKNOWN, ASLEEP})
    first = of(old[0], name)
    assert (first.text, first.why, first.value) == (f"unknown ({TOO_OLD})", TOO_OLD, None)
    last = [now for picture in old if (now := of(picture, name)).why == TOO_OLD][-1]
    assert last.strip is not None
    assert last.strip.code[-1] == UNKNOWN


def test_it_is_unknown_since_its_limit_and_what_it_is_called_later_is_dated_back_there(
    fallen: tuple[list[Snapshot], object, object],
) -> None:
    old = [of(picture, "gear") for picture in fallen[0] if too_old(picture, "gear")]
    assert len({now.since_ns for now in old}) == 1
    assert len({now.edges for now in old}) == 1


def test_pictures_are_not_far_behind(fallen: tuple[list[Snapshot], object, object]) -> None:
    """Within 200 ms, on an idle machine; here, within half a second of the clock but where the machine stood still."""
    behind = sorted(picture.end_ns - picture.t_ns for picture in fallen[0])
    assert behind[len(behind) // 2] < 500 * MS


def test_derived_signals_tiles_and_ways_say_so_too(
    fallen: tuple[list[Snapshot], list[SignalPath], object],
) -> None:
    pictures, ways, _ = fallen
    one = next(picture for picture in pictures if too_old(picture, "speed"))
    assert of(one, "moving").text == f"unknown (speed: {TOO_OLD})"
    tiles = "\n".join(plain(line) for line in tile_lines(one, 200, 20))
    assert f"speed  unknown ({TOO_OLD})" in tiles
    way = next(way for way in ways if way.signal.why == TOO_OLD)
    fresh = next(stage for stage in way.stages if stage.title == "Freshness")
    assert fresh.code == UNKNOWN
    said = {user.text for user in way.users if "(front_white)" not in user.text}  # that lamp hangs on no gear
    assert "when gear == 'R': unknown" in said
    assert {text.rpartition(": ")[2] for text in said} <= {"unknown", "off", "obeyed"}  # false whatever the gear is


def test_a_wiggle_test_counts_one_loss(fallen: tuple[object, object, Wiggle]) -> None:
    assert (fallen[2].losses, fallen[2].edges) == (1, 0)


def test_a_bus_that_lives_shows_no_value_as_too_old() -> None:
    with driving() as (scene, _):
        until(lambda: all(of(scene, name).code <= TRUE for name in CYCLIC))
        for _ in range(60):
            picture = scene.snapshot()
            assert not [s.name for s in picture.signals if s.why.endswith(TOO_OLD)]
            time.sleep(0.03)
