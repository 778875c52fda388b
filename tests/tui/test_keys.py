"""Keys: every one bound once in its place, help and footer from the live bindings."""

from __future__ import annotations

from fake_scene import FakeScene

from busprobe.tui.app import BusprobeApp
from busprobe.tui.keys import KEYS, PLACES
from busprobe.tui.screens import SCREENS
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.screens.help import HelpScreen
from busprobe.tui.screens.state import StateBoard
from busprobe.tui.widgets.rows import Rows


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
