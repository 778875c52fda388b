"""Keys of a replay, on every screen; none of them live."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import fake_van
import pytest
from fake_scene import FakeScene
from textual.pilot import Pilot
from textual.widgets import Input

from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens import SCREENS
from busprobe.tui.screens.pick import PickSignal
from busprobe.tui.screens.state import Tiles
from busprobe.tui.view.spans import plain
from busprobe.tui.view.tiles import height_wanted, tile_lines
from busprobe.tui.widgets.askline import AskLine
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.timebar import PlayerBar, Timebar

Compare = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)

CALLS = [
    (["space"], ["is_playing True"]),
    (["space", "space"], ["is_playing True", "is_playing False"]),
    (["u", "u", "d"], ["speed 2.0", "speed 5.0", "speed 2.0"]),
    (["d"] * 5, ["speed 0.5", "speed 0.25", "speed 0.1", "speed 0.1", "speed 0.1"]),
    (["right"], ["step_mark 1 edge gear"]),
    (["k", "left", "left"], ["step_mark -1 trigger None", "step_mark -1 trigger None"]),
    (["k", "k", "right"], ["step_mark 1 failed None"]),
    (["k", "k", "k", "k", "left"], ["step_mark -1 gap None"]),
    (["k"] * 6 + ["right"], ["step_mark 1 walk None"]),
    (["k"] * 7 + ["right", "left"], ["step_frame 1", "step_frame -1"]),
    (["g", *"1:30", "enter"], ["seek 90"]),
    (["g", *"+10", "enter"], ["seek 210"]),
    (["g", *"soon", "enter"], []),
    (["g", "escape"], []),
    (["g", *"1:30", "tab"], []),
    (["g", *"9", "escape", "g", *"1:30", "enter"], ["seek 90"]),
    (["m", *"odd", "enter"], ["is_playing False", "seek 200", "add_marker odd"]),
    (["m", "enter"], ["is_playing False", "seek 200", "add_marker marker"]),
    (["m", "escape"], ["is_playing False"]),
]


@pytest.mark.parametrize(("keys", "calls"), CALLS, ids=[" ".join(keys) for keys, _ in CALLS])
async def test_what_a_key_calls(replay: FakeScene, keys: list[str], calls: list[str]) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, keys)
        assert replay.calls == calls


async def press(pilot: Pilot[None], keys: list[str]) -> None:
    for key in keys:
        await pilot.press(key)
        await pilot.pause()


async def settled(pilot: Pilot[None]) -> None:
    """A list comes, then the tiles get their room, then their lines."""
    for _ in range(3):
        await pilot.pause()


async def test_every_screen_of_a_recording_has_the_bar_and_its_keys(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        for entry in SCREENS:
            await press(pilot, [entry.key, "space"])
            assert len(app.screen.query(PlayerBar)) == 1
            assert "03:20.000 of 10:12.0" in plain(app.screen.query_one(Timebar).lines[0])
        assert replay.calls == [f"is_playing {i % 2 == 0}" for i in range(len(SCREENS))]


async def test_live_has_neither(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["space", "right", "g", "m", "x", "v"])
        assert len(app.screen.query(PlayerBar)) == 0
        assert not app.screen.query_one(AskLine).is_asking
        assert live.calls == []
        assert "replay.play" not in {
            active.binding.id for active in app.screen.active_bindings.values() if active.enabled
        }


async def test_keys_typed_into_the_filter_do_not_move_the_recording(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["f", *"gu d", "left"])
        assert replay.calls == []
        assert app.screen.query_one("#filter", Input).value == "gu d"


async def test_the_board_goes_on_while_a_time_is_typed(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        before = app.screen.focused
        await press(pilot, ["g", *"1:3"])
        line = app.screen.query_one(AskLine)
        assert line.is_asking
        assert line.region == (0, 23, 80, 1)
        assert app.screen.query_one(Timebar).region.bottom == 23
        await press(pilot, ["escape", "space"])
        assert not line.is_asking
        assert app.screen.focused is before
        assert replay.calls == ["is_playing True"]


async def test_instant_a_and_what_differs(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["v"])
        assert not app.screen.query_one("#differ").has_class("-shown")
        await press(pilot, ["x"])
        replay.alter_signal("brake", text="off", code=0)
        await press(pilot, ["v", "2"])
        assert [row.key for row in app.screen.query_one("#differ-rows", Rows).rows] == ["brake"]
        assert "A 03:20.0" in plain(app.screen.query_one(Timebar).lines[0])
        await press(pilot, ["v"])
        assert not app.screen.query_one("#differ").has_class("-shown")


async def test_another_signal_for_the_edges(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["i"])
        assert isinstance(app.screen, PickSignal)
        await press(pilot, [*"door", "down", "enter"])
        await press(pilot, ["right"])
        assert app.chosen == "rear_door"
        assert replay.calls == ["step_mark 1 edge rear_door"]
        assert "edge of rear_door" in plain(app.screen.query_one(Timebar).lines[0])


async def test_escape_stops_loading_once_nothing_else_is_to_be_ended() -> None:
    scene = FakeScene.replay(dataclasses.replace(fake_van.REPLAY, loaded=0.4))
    app = BusprobeApp(scene)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["f", "x", "escape"])
        assert scene.calls == []
        await press(pilot, ["escape"])
        assert scene.calls == ["stop_loading"]
        scene.alter(loaded=1.0)
        app.pull_now()
        await press(pilot, ["escape"])
        assert scene.calls == ["stop_loading"]


async def test_a_click_on_the_bar_goes_there(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await pilot.pause()
        await pilot.click("#timebar", offset=(40, 1))
        await pilot.click("#timebar", offset=(2, 0))
        assert replay.calls == ["seek 309.825", "is_playing True"]


def test_comparing_two_instants(snap_compare: Compare, replay: FakeScene) -> None:
    """The list of what differs, above the bar with A and every kind of mark."""

    async def run(pilot: Pilot[None]) -> None:
        await press(pilot, ["x"])
        replay.alter(t_ns=fake_van.at(260))
        replay.alter_signal("brake", text="off", code=0, edges=16)
        replay.alter_signal("gear", text="D", value=3.0, edges=9)
        replay.alter_signal("speed", text="31 km/h", value=31.0, edges=2800)
        await press(pilot, ["v"])
        pilot.app.clear_notifications()
        await settled(pilot)

    assert snap_compare(BusprobeApp(replay), terminal_size=SMALL, run_before=run)


async def test_the_list_of_what_differs_leaves_the_tiles_what_room_there_is(replay: FakeScene) -> None:
    """Where nothing is played no other picture comes that would be painted anew."""
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        await press(pilot, ["x"])
        replay.alter(t_ns=fake_van.at(260))
        replay.alter_signal("gear", text="D", value=3.0, edges=9)
        app.pull_now()
        await pilot.pause()
        tiles, body, picture = app.screen.query_one(Tiles), app.screen.query_one("#body").size, app.picture
        assert picture is not None
        whole = list(tiles.lines)
        for is_shown in (True, False):
            await press(pilot, ["v"])
            await settled(pilot)
            room = app.screen.query_one("#body").size
            assert (room.height < body.height) is is_shown
            assert tiles.size.height == height_wanted(picture, room.width, room.height - 2)
            assert tiles.lines == tile_lines(picture, tiles.size.width, tiles.size.height)
            assert (tiles.lines == whole) is not is_shown


def test_still_being_read(snap_compare: Compare) -> None:
    """The bar as far as it is read, what is not read yet as dots, how to stop."""
    scene = FakeScene.replay(dataclasses.replace(fake_van.REPLAY, loaded=0.4, is_playing=True, speed=25.0))
    assert snap_compare(BusprobeApp(scene), terminal_size=LARGE, press=["4"])
