"""Keys: every one bound once in its place, help and footer from the live bindings."""

from __future__ import annotations

from pathlib import Path

import pytest
from fake_scene import FakeScene

from busprobe.tui.app import BusprobeApp
from busprobe.tui.keys import FOOTER_KEYS, KEYS, PLACES, key_text, readme_table
from busprobe.tui.screens import SCREENS
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.screens.help import HelpScreen
from busprobe.tui.screens.state import StateBoard
from busprobe.tui.view.keys_help import HELP_COLUMNS, MOUSE, text_width
from busprobe.tui.view.spans import plain, width_of
from busprobe.tui.widgets.rows import Rows

ALL_KEYS = BusprobeApp(None).keys
README = Path(__file__).parents[2] / "README.md"


def test_every_key_has_an_id_of_its_own_words_and_a_sentence() -> None:
    assert len({key.id for key in KEYS}) == len(KEYS)
    for key in KEYS:
        assert key.where in PLACES, key.id
        assert 0 < len(key.words) <= 18, key.id
        assert key.tooltip.endswith("."), key.id


async def test_a_key_does_one_thing_on_a_screen(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert isinstance(app.screen, StateBoard)
        for entry in SCREENS:
            await pilot.press(entry.key)
            await pilot.pause()
            assert isinstance(app.screen, entry.screen)


async def test_help_lists_the_live_keys_and_closes_again(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("question_mark")
        await pilot.pause()
        assert isinstance(app.screen, HelpScreen)
        keys = {row.key for row in app.screen.query_one(Rows).rows}
        assert {"help", "leave", "zoom", "rows.down", "screen.state"} <= keys
        await pilot.press("escape")
        assert isinstance(app.screen, BoardScreen)


@pytest.mark.parametrize("size", [(40, 10), (80, 24), (120, 40)], ids=str)
async def test_help_says_its_sentences_whole(size: tuple[int, int], replay: FakeScene) -> None:
    """A long one goes on in more rows; no row is cut."""
    tips = {key.id: key.tooltip for key in ALL_KEYS}
    app = BusprobeApp(replay)
    async with app.run_test(size=size) as pilot:
        await pilot.press("question_mark")
        for resized in (size, (60, 20), size):
            await pilot.resize_terminal(*resized)
            await pilot.pause()
            rows = app.screen.query_one(Rows)
            room = text_width(rows.size.width)
            said: dict[str, list[str]] = {}
            for row in rows.rows:
                assert width_of(row.cells[1]) <= room
                said.setdefault(row.key.split()[0], []).append(plain(row.cells[1]))
            for name, parts in said.items():
                assert " ".join(parts) == tips.get(name, MOUSE[1])
            assert all(width_of(row.cells[0]) <= HELP_COLUMNS[0].width for row in rows.rows)


async def test_help_outlives_a_terminal_without_room_for_a_sentence(live: FakeScene) -> None:
    """As while a pane is drawn small; the sentences are back once there is room."""
    app = BusprobeApp(live)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("question_mark")
        await pilot.pause()
        whole = [row.cells for row in app.screen.query_one(Rows).rows]
        for size in ((16, 10), (4, 4), (80, 24)):
            await pilot.resize_terminal(*size)
            await pilot.pause()
            assert isinstance(app.screen, HelpScreen)
        assert [row.cells for row in app.screen.query_one(Rows).rows] == whole


async def listed(scene: FakeScene, *keys: str) -> set[str]:
    """What help lists after some keys."""
    app = BusprobeApp(scene)
    async with app.run_test(size=(80, 24)) as pilot:
        for key in (*keys, "question_mark"):
            await pilot.press(key)
            await pilot.pause()
        return {row.key for row in app.screen.query_one(Rows).rows}


async def test_help_lists_no_key_that_does_nothing(live: FakeScene, replay: FakeScene) -> None:
    panels = {"panel.2", "panel.3", "panel.4"}
    assert await listed(live, "3") & panels == {"panel.2"}
    assert await listed(live, "3", "p") & panels == {"panel.2", "panel.3"}
    assert await listed(live, "1") & panels == {"panel.2", "panel.3"}
    assert await listed(live, "4") & panels == panels
    for scene, own in ((live, set()), (replay, {"logic.whole", "logic.jump"})):
        assert await listed(scene, "4") & {"logic.whole", "logic.jump"} == own
    assert "walk.jump" not in await listed(live, "6")
    assert "walk.jump" in await listed(replay, "6")


@pytest.mark.parametrize("screen", [entry.name for entry in SCREENS])
def test_no_key_stands_for_two_things_on_a_screen(screen: str) -> None:
    together = [key for key in ALL_KEYS if key.where in ("everywhere", "board", "replay", screen)]
    names = [name for key in together for name in key.keys.split(",")]
    assert sorted(names) == sorted(set(names))


def test_keys_reach_a_program_in_any_terminal() -> None:
    """Letters, digits, signs, function keys, arrows; Ctrl-C alone; F1 to F9 never the only way."""
    for key in ALL_KEYS:
        names = key.keys.split(",")
        assert not [name for name in names if name.startswith(("ctrl+", "alt+")) and name != "ctrl+c"], key.id
        if key.id == "help":
            assert "question_mark" in names


def test_footer_shows_at_most_six_keys_beside_the_screens() -> None:
    assert sum(key.footer for key in ALL_KEYS) <= FOOTER_KEYS


@pytest.mark.parametrize(
    ("keys", "text"),
    [("question_mark,f1", "? F1"), ("shift+tab", "Shift-Tab"), ("q,ctrl+c", "q Ctrl-c"), ("pageup", "PgUp")],
)
def test_keys_as_they_stand_on_a_keyboard(keys: str, text: str) -> None:
    assert key_text(keys) == text


def test_readme_has_every_key() -> None:
    """`readme_table(BusprobeApp(None).keys)` makes the table anew."""
    assert readme_table(ALL_KEYS) in README.read_text(encoding="utf-8")
