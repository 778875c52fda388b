"""Painted lines are what the way through every rule of the style sheet gives, whatever happened before."""

from __future__ import annotations

import pytest
from fake_scene import FakeScene
from rich.style import Style
from textual.geometry import Region
from textual.pilot import Pilot
from textual.screen import Screen
from textual.scroll_view import ScrollView
from textual.strip import Strip

from busprobe.tui.app import BusprobeApp
from busprobe.tui.view.spans import Column, Row, Span, Tone, cell, share
from busprobe.tui.widgets.painted import Painted
from busprobe.tui.widgets.rows import Rows, _changed_part

LARGE, SMALL = (120, 40), (80, 24)


def cells(strip: Strip) -> list[tuple[str, object, Style | None]]:
    """Signs with their ground, and their style where there is something to see."""
    found: list[tuple[str, object, Style | None]] = []
    for text, style, _ in strip:
        assert style is not None
        found += [(sign, style.bgcolor, style if sign.strip() else None) for sign in text]
    return found


def assert_painted_well(app: BusprobeApp) -> None:
    for widget in app.screen.query(Painted):
        region = Region(0, 0, *widget.outer_size)
        if not region or not widget.is_on_screen:
            continue
        kept = widget.render_lines(region)
        widget._styles_cache.clear()
        anew = ScrollView.render_lines(widget, region)
        assert len(kept) == len(anew)
        for y, (was, now) in enumerate(zip(kept, anew, strict=True)):
            wanted = cells(now)[: was.cell_length]  # a scroll bar paints the last column
            assert cells(was) == wanted, f"{widget!r}, line {y}: {was.text!r} and {now.text!r}"


@pytest.mark.parametrize("screen", "12345")
async def test_after_keys_pictures_themes_and_other_sizes(screen: str) -> None:
    scene = FakeScene.live()
    app = BusprobeApp(scene)

    async def moved(pilot: Pilot[None]) -> None:
        scene.alter_signal("speed", text="33.3 km/h", value=33.3)
        scene.alter(t_ns=scene.snapshot().t_ns + 100_000_000)
        app.pull_now()
        await pilot.pause()
        assert_painted_well(app)

    async with app.run_test(size=LARGE) as pilot:
        await pilot.press(screen)
        await moved(pilot)
        for keys in (["down", "down"], ["tab"], ["f2"], ["z"], ["pagedown"], ["z"], ["f1"], ["shift+t"], ["escape"]):
            await pilot.press(*keys)
            await pilot.pause()
            assert_painted_well(app)
            await moved(pilot)
        for size in (SMALL, (40, 10), LARGE):
            await pilot.resize_terminal(*size)
            await pilot.pause()
            await moved(pilot)
        for theme in ("busprobe-light", "busprobe-contrast"):
            app.theme = theme
            await pilot.pause()
            await moved(pilot)


@pytest.mark.parametrize("screen", "12345")
async def test_a_screen_that_was_shown_before_comes_back_in_the_theme_and_size_of_now(screen: str) -> None:
    app = BusprobeApp(FakeScene.live())
    async with app.run_test(size=LARGE) as pilot:
        await pilot.press(screen)
        for theme, size in (("busprobe-light", LARGE), ("busprobe-contrast", SMALL), ("busprobe-dark", LARGE)):
            await pilot.press("1" if screen != "1" else "2")
            app.theme = theme
            await pilot.resize_terminal(*size)
            await pilot.press(screen)
            await pilot.pause()
            assert_painted_well(app)
            for widget in app.screen.walk_children(with_self=True):
                was = (widget.styles.background, widget.styles.color, widget.size)
                app.screen.update_node_styles(animate=False)
                assert (widget.styles.background, widget.styles.color, widget.size) == was


async def test_the_row_under_the_cursor_loses_its_ground_with_the_focus(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=LARGE) as pilot:
        rows = app.screen.query_one(Rows)
        rows.focus()
        await pilot.pause()
        ground = {cells(line)[3][1] for line in rows.render_lines(Region(0, 0, *rows.outer_size))[1:]}
        app.screen.set_focus(None)
        await pilot.pause()
        assert len(ground) == 2
        assert len({cells(line)[3][1] for line in rows.render_lines(Region(0, 0, *rows.outer_size))[1:]}) == 1


COLUMNS = (Column("One", 4), Column("Two", 6, "right"), Column("Three", 10), Column("Four", 30, grow=1))


def row(*texts: str) -> Row:
    return Row(texts[0], tuple(cell(text) for text in texts))


@pytest.mark.parametrize(
    ("changed", "end"),
    [((), None), ((0,), 5), ((1,), 12), ((0, 2), 23), ((3,), 79)],
    ids=["nothing", "first", "second", "first and third", "last"],
)
def test_what_goes_to_the_terminal_of_a_changed_row(changed: tuple[int, ...], end: int | None) -> None:
    """Columns of 4, 6, 10 and 55 cells, a sign before the first and a blank before each other one."""
    shares = share(COLUMNS, 78)
    old = row("a", "b", "c", "d")
    new = row(*("x" if k in changed else text for k, text in enumerate("abcd")))
    assert _changed_part(shares, 3, old, new) == (Region() if end is None else Region(0, 3, end, 1))


async def test_a_cell_that_fills_its_column_a_blank_follows(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SMALL) as pilot:
        rows = Rows(COLUMNS)
        await app.push_screen(Screen())
        await app.screen.mount(rows)
        rows.show(
            [row("abcd", "efghij", "ä" * 12, "left"), Row("two", (cell("a", Tone.ON), (), (Span("1"), Span("2")), ()))]
        )
        await pilot.pause()
        lines = [line.text.rstrip() for line in rows.render_lines(Region(0, 0, *rows.outer_size))[:3]]
        assert lines == [" One     Two Three      Four", "▶abcd efghij äääääääää… left", " a           12"]
