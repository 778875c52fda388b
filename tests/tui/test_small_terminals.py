"""What a small terminal has no room for is told of the selected row, or comes up alone with its key."""

from __future__ import annotations

import fake_van
import pytest
from fake_scene import FakeScene
from textual.pilot import Pilot

from busprobe.tui.app import BusprobeApp
from busprobe.tui.view.foot import foot_line, foot_places
from busprobe.tui.view.health import SOURCE_COLUMNS
from busprobe.tui.view.signals import COLUMNS
from busprobe.tui.view.spans import Column, Row, cell, plain, share
from busprobe.tui.view.tiles import LEAST_HEIGHT, height_wanted, tile_lines
from busprobe.tui.widgets.rows import LEAST_ROWS, Rows
from busprobe.tui.widgets.sheet import Sheet

TINY, SMALL, LARGE = (40, 10), (80, 24), (160, 40)


async def press(pilot: Pilot[None], *keys: str) -> None:
    await pilot.press(*keys)
    await pilot.pause()


def painted(rows: Rows) -> list[str]:
    """What a list shows, line by line."""
    return [rows.render_line(y).text.rstrip() for y in range(rows.size.height)]


# --- the line at the foot, as values

THREE = (Column("  One", 4), Column("Two", 6), Column("Three", 9, grow=1), Column("Four", 3, minor=True))
ROW = Row("a", (cell("1"), cell("22"), cell("a long third cell"), cell("4")))


@pytest.mark.parametrize(
    ("shown", "across", "places"),
    [
        ({0, 1, 2, 3}, 80, []),
        ({0, 1, 2}, 80, []),
        ({0}, 80, [[1, 2, 3]]),
        ({0}, 20, [[1], [2]]),
        ({0}, 30, [[1, 2]]),
        (set(), 22, [[0, 1], [2]]),
        (set(), 28, [[0, 1], [2, 3]]),
        (set(), 5, [[0], [1], [2]]),
    ],
)
def test_columns_without_room_share_lines(shown: set[int], across: int, places: list[list[int]]) -> None:
    assert foot_places(THREE, shown, across) == places


def test_each_stands_under_its_name_and_takes_the_room_there_is() -> None:
    line = foot_line(THREE, [1, 2], ROW, 40, first=True)
    assert plain(line) == "╰ Two 22     Three a long third cell".ljust(40)
    assert plain(foot_line(THREE, [2], ROW, 20, first=False)) == "  Three a long thir…"


def test_bounce_has_a_column_in_80_cells() -> None:
    """And so has all that a technician asks for first."""
    shown = [SOURCE_COLUMNS[place].title for place, _ in share(SOURCE_COLUMNS, SMALL[0] - 2)]
    assert shown == ["Source", "State", "Per s", "Load", "Errors", "Lost", "Gaps", "Glitches", "Bounce"]


# --- lists

SCREENS = [("1", 1, COLUMNS[6].title), ("4", 0, "Cut short"), ("5", 0, "Clock ±"), ("2", 0, "Changed")]


@pytest.mark.parametrize(("key", "place", "title"), SCREENS)
async def test_what_has_no_column_is_told_of_the_selected_row(
    key: str, place: int, title: str, live: FakeScene
) -> None:
    for size, is_told in ((SMALL, True), (LARGE, False)):
        app = BusprobeApp(live)
        async with app.run_test(size=size) as pilot:
            await press(pilot, key)
            rows = [w for w in app.screen.query(Rows) if w.has_class("panel")][place if key != "1" else 0]
            lines = painted(rows)
            assert any(line.startswith("╰") and title in line for line in lines) == is_told, lines
            assert (title in lines[0]) != is_told


async def test_the_foot_follows_the_cursor_and_hides_no_row(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        rows = app.screen.query_one(Rows)
        await press(pilot, "end")
        lines = painted(rows)
        assert rows.selected is not None
        assert lines[-2].startswith(f"▶{rows.selected.key}")
        assert lines[-1] == f"╰ Kind {plain(rows.selected.cells[6]):<7} Source {plain(rows.selected.cells[7])}".rstrip()
        await press(pilot, "home")
        assert painted(rows)[1].startswith("▶gear")
        assert "body.TransmissionStatus.SelectedGear" in painted(rows)[-1]


async def test_a_low_list_gives_its_lines_to_rows(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=TINY) as pilot:
        await pilot.pause()
        rows = app.screen.query_one(Rows)
        assert rows.size.height < LEAST_ROWS + 1
        assert not any(line.startswith("╰") for line in painted(rows))
        for _ in range(len(rows.rows)):
            await press(pilot, "down")
            assert any(line.startswith(f"▶{rows.selected.key}") for line in painted(rows) if rows.selected is not None)


@pytest.mark.parametrize("is_live", [True, False])
async def test_in_40_by_10_frames_and_health_show_rows(is_live: bool, live: FakeScene, replay: FakeScene) -> None:
    app = BusprobeApp(live if is_live else replay)
    async with app.run_test(size=TINY) as pilot:
        await press(pilot, "2")
        frames = app.screen.query_one("#frames", Rows)
        assert sum("0C2" in line or "0D0" in line or "0E4" in line for line in painted(frames)) == 3
        await press(pilot, "5")
        sources, problems = app.screen.query_one("#sources", Rows), app.screen.query_one("#problems", Rows)
        assert [line[1:5].strip() for line in painted(sources) if line][-2:] == ["body", "box"]
        assert any(line.strip() for line in painted(problems))


async def test_a_panel_without_room_comes_up_alone_with_its_key(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=TINY) as pilot:
        await press(pilot, "2", "f3")
        await pilot.pause()
        bits = app.screen.query_one("#bits", Sheet)
        assert bits.has_focus
        assert bits.size.height >= 3
        await press(pilot, "f2")
        await pilot.pause()
        assert app.screen.query_one("#frames", Rows).has_focus
        assert app.screen.query_one("#frames", Rows).size.height >= 3
        await press(pilot, "enter")
        await pilot.pause()
        values = app.screen.query_one("#values", Rows)
        assert values.has_focus
        assert values.size.height >= 3
        await press(pilot, "escape")
        await pilot.pause()
        assert app.screen.query_one("#frames", Rows).size.height >= 3


async def test_a_panel_that_is_squeezed_out_does_so_too(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=TINY) as pilot:
        await press(pilot, "4")
        for key, name in (("f3", "occurrences"), ("f4", "log"), ("f3", "occurrences"), ("f2", "checks"), ("l", "log")):
            await press(pilot, key)
            await pilot.pause()
            panel = app.screen.query_one(f"#{name}", Rows)
            assert panel.has_focus
            assert panel.region.intersection(app.screen.query_one("#body").region).height >= 3, (key, name)


async def test_panels_that_have_room_stay_beside_each_other(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SMALL) as pilot:
        for screen, keys in (("4", ("f3", "f4", "l", "f2")), ("5", ("f4", "f2")), ("2", ("f3", "f4")), ("1", ("f3",))):
            await press(pilot, screen)
            for key in keys:
                await press(pilot, key)
                await pilot.pause()
                assert app.screen.zoomed is None, (screen, key)


# --- tiles


@pytest.mark.parametrize("body", [17, 19])
def test_tiles_have_block_letters_in_80_by_24(body: int) -> None:
    """17 lines in a replay, 19 live, besides the titles of both panels."""
    height = height_wanted(fake_van.LIVE, 80, body)
    assert height == 2 * LEAST_HEIGHT
    text = "\n".join(plain(line) for line in tile_lines(fake_van.LIVE, 80, height))
    assert all(name in text for name in ("gear", "speed", "brake", "driver_door", "rear_door", "side_door"))
    assert text.count("since") == 5  # of one nothing was seen
    assert "█" in text


def test_where_not_all_have_room_the_first_have_block_letters() -> None:
    lines = [plain(line) for line in tile_lines(fake_van.LIVE, 80, 7)]
    assert len(lines) == 6
    assert "gear" in lines[0]
    assert "brake" in lines[0]
    assert "█" in lines[1]
    assert lines[5].startswith(" ? unknown driver_door")
    assert "OPEN rear_door" in lines[5]
