"""Keys, focus and questions, with a pilot; rows are tested in test_view.py."""

from __future__ import annotations

from pathlib import Path

import fake_van
from fake_scene import FakeScene
from textual.widgets import Input, Static

from busprobe.tui.app import BusprobeApp
from busprobe.tui.recent import Opened, recent
from busprobe.tui.screens import SCREENS
from busprobe.tui.screens.ask import AskText, AskYes
from busprobe.tui.screens.cautions import Cautions
from busprobe.tui.screens.state import StateBoard, Tiles
from busprobe.tui.view.spans import plain
from busprobe.tui.widgets.filterline import FilterLine
from busprobe.tui.widgets.headline import Headline
from busprobe.tui.widgets.rows import Rows

SIZE = (80, 24)


def words(app: BusprobeApp) -> str:
    """All toasts so far."""
    return "\n".join(note.message for note in app._notifications)


def rows(app: BusprobeApp) -> list[str]:
    return [row.key for row in app.screen.query_one(Rows).rows]


async def test_pictures_are_pulled(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        live.alter_signal("brake", code=0, text="off")
        app.pull_now()
        row = next(row for row in app.screen.query_one(Rows).rows if row.key == "brake")
        assert plain(row.cells[1]) == "○ off"


async def test_hold_freezes_what_is_shown_and_says_so(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("h")
        live.alter(t_ns=fake_van.at(300))
        app.pull_now()
        header = plain(app.screen.query_one(Headline).lines[0])
        assert "HELD" in header
        assert "03:20.0" in header
        await pilot.press("h")
        assert "05:00.0" in plain(app.screen.query_one(Headline).lines[0])


async def test_cursor_stays_on_its_row_when_rows_move(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("down", "down", "down")
        here = app.screen.query_one(Rows).selected
        assert here is not None
        await pilot.press("s", "s", "s")
        there = app.screen.query_one(Rows).selected
        assert there is not None
        assert there.key == here.key == "module_volts"
        await pilot.press("end")
        assert app.screen.query_one(Rows).selected is app.screen.query_one(Rows).rows[-1]


async def test_filter_and_escape(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        everything = len(rows(app))
        await pilot.press("f", *"rear door")
        assert rows(app) == ["rear_door"]
        await pilot.press("enter")
        assert isinstance(app.focused, Rows)
        assert rows(app) == ["rear_door"]
        await pilot.press("escape")
        assert len(rows(app)) == everything
        assert not app.screen.query_one(FilterLine).display


async def test_zoom_gives_the_body_to_the_panel_in_focus(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("z")
        await pilot.pause()
        assert not app.screen.query_one(Tiles).display
        assert app.screen.query_one(Rows).size.height > 18
        await pilot.press("escape")
        await pilot.pause()
        assert app.screen.query_one(Tiles).display


async def test_function_keys_go_to_panels(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f2")
        assert isinstance(app.focused, Tiles)
        await pilot.press("f3")
        assert isinstance(app.focused, Rows)
        await pilot.press("tab")
        assert isinstance(app.focused, Tiles)
        await pilot.press("f4")
        assert isinstance(app.focused, Tiles), "there is no third panel"


async def test_copy_says_what_was_copied(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("down", "y")
        assert app.clipboard.startswith("speed\t12.4 km/h since 03:19.980\t")
        assert "Copied: speed 12.4 km/h" in words(app)
        await pilot.press("f2", "y")
        assert "Nothing is selected here" in words(app)


async def test_write_the_row_to_a_file(live: FakeScene, tmp_path: Path) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("e")
        await pilot.pause()
        assert isinstance(app.screen, AskText)
        app.screen.query_one(Input).value = str(tmp_path / "row.txt")
        await pilot.press("enter")
        assert (tmp_path / "row.txt").read_text(encoding="utf-8").startswith("gear\tR since 03:18.200")
        await pilot.press("e")
        await pilot.pause()
        app.screen.query_one(Input).value = str(tmp_path / "no folder" / "row.txt")
        await pilot.press("enter")
        await pilot.pause()
        assert "No such file or directory. Choose another file." in words(app)


async def test_record_on_and_off_from_any_screen(live: FakeScene) -> None:
    live.alter(recorder=None)
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("5", "r")
        await pilot.pause()
        app.screen.query_one(Input).value = "drive.duckdb"
        await pilot.press("enter")
        app.pull_now()
        await pilot.press("r")
        assert live.calls == ["start_recording drive.duckdb", "stop_recording"]
        assert "Recording to drive.duckdb: a new run begins, from unknown." in words(app)


async def test_a_recording_wants_the_results_so_far_and_says_so_before(live: FakeScene) -> None:
    checks, triggers = live.picture.checks, live.picture.triggers
    results = sum(len(check.occurrences) for check in checks)
    live.alter(recorder=None)
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("r")
        await pilot.pause()
        asked = str(app.screen.query(Static).first().render())
        await pilot.press("escape")
        live.alter(checks=(), triggers=())
        app.pull_now()
        await pilot.press("r")
        await pilot.pause()
        assert str(app.screen.query(Static).first().render()) == "Record to this file:"
    assert asked.splitlines()[1] == (
        f"A new run begins: the {results} results and {len(triggers)} lines of the trigger log so far are given up."
    )


async def test_a_recording_is_among_the_recent_ones_and_named_at_the_end(live: FakeScene, tmp_path: Path) -> None:
    live.alter(recorder=None)
    app = BusprobeApp(live)
    made = [tmp_path / "first.duckdb", tmp_path / "second.duckdb"]
    async with app.run_test(size=SIZE) as pilot:
        for path in made:
            await pilot.press("r")
            await pilot.pause()
            app.screen.query_one(Input).value = str(path.with_suffix(""))
            await pilot.press("enter")
            app.pull_now()
            assert f"Recording to {path.name}: a new run begins" in words(app)
            if path is made[0]:
                assert recent() == []
                await pilot.press("r")
                app.pull_now()
                assert recent() == [Opened(path, None)]
    assert recent() == [Opened(path, None) for path in reversed(made)], "also where it goes on when the program ends"
    assert app.saved == [f"Recorded to {path}." for path in made]


async def test_what_lies_under_an_open_box_goes_on(live: FakeScene) -> None:
    live.alter_signal("brake", code=0, text="off")
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("question_mark")
        await pilot.pause()
        board = app.board_screen
        assert board is not None
        assert board is not app.screen
        live.alter_signal("brake", code=1, text="on")
        live.alter(t_ns=fake_van.at(300))
        app.pull_now()
        await pilot.pause()
        row = next(row for row in board.query_one(Rows).rows if row.key == "brake")
        assert plain(row.cells[1]) == "● on"
        assert "05:00.0" in app.export_screenshot(), "it is on the terminal too"


async def test_a_recording_that_does_not_start_says_why(live: FakeScene) -> None:
    live.alter(recorder=None)
    live.trouble = '"drive.duckdb" is there already. Choose another name.'
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("r")
        await pilot.pause()
        await pilot.press("enter")
        await pilot.pause()
        assert live.trouble in words(app)


async def test_leaving_during_a_recording_asks_once(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("q")
        await pilot.pause()
        assert isinstance(app.screen, AskYes)
        await pilot.press("n")
        await pilot.pause()
        assert isinstance(app.screen, StateBoard)
        await pilot.press("ctrl+q")
        await pilot.pause()
        assert isinstance(app.screen, AskYes)
        await pilot.press("y")
        await pilot.pause()
    assert not app.is_running


async def test_leaving_without_a_recording_does_not_ask(replay: FakeScene) -> None:
    app = BusprobeApp(replay)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("q")
        await pilot.pause()
        assert not app.is_running


async def test_resize_to_40_by_10_and_back(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=(120, 40)) as pilot:
        for entry in SCREENS:
            await pilot.press(entry.key)
            for size in ((40, 10), (1, 1), (200, 60), (80, 24)):
                await pilot.resize_terminal(*size)
                app.pull_now()
                await pilot.pause()
        assert app.is_running


async def test_everything_may_vanish(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("end")
        for picture in (fake_van.EMPTY, fake_van.TROUBLE, fake_van.EMPTY, fake_van.LIVE):
            live.show(picture)
            for entry in SCREENS:
                await pilot.press(entry.key)
                app.pull_now()
                await pilot.pause()
        assert app.is_running


async def test_the_mouse_works_too(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        await pilot.click(Rows, offset=(5, 4))
        selected = app.screen.query_one(Rows).selected
        assert selected is not None
        assert selected.key == "rpm"
        footer = app.screen.query_one("#footline")
        at = plain(footer.lines[0]).index("Health")
        await pilot.click("#footline", offset=(at, 0))
        await pilot.pause()
        assert app.current_mode == "health"


async def test_palette_has_every_action_and_every_signal(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        titles = {command.title for command in app.get_system_commands(app.screen)}
        live_words = {
            active.binding.description
            for active in app.screen.active_bindings.values()
            if active.binding.id is not None and active.binding.id != "commands"
        }
        assert live_words <= titles
        assert {f"Signal {signal.name}" for signal in fake_van.SIGNALS} <= titles
        await pilot.press("c", *"next theme", "enter")
        await pilot.pause()
        assert app.theme == "busprobe-light"


async def test_cautions_come_before_live_work_only(live: FakeScene, replay: FakeScene) -> None:
    for scene, expected in ((live, Cautions), (replay, StateBoard)):
        app = BusprobeApp(scene, cautions=("Parking brake on.",))
        async with app.run_test(size=SIZE) as pilot:
            await pilot.pause()
            assert isinstance(app.screen, expected)
            await pilot.press("enter")
            await pilot.pause()
            assert isinstance(app.screen, StateBoard) or expected is StateBoard
