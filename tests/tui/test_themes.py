"""Colours: contrast of every tone in every theme, and none at all where the user wants none."""

from __future__ import annotations

import pytest
from fake_scene import FakeScene
from rich.style import Style

from busprobe.timeline import UNKNOWN
from busprobe.tui.app import BusprobeApp
from busprobe.tui.themes import NAMES, PALETTES
from busprobe.tui.view.spans import Tone


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb" (WCAG 2.1, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1 to 21 (WCAG 2.1, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        # WCAG 2.1 gives 21:1 as the largest; #767676 is the lightest grey that passes 4.5 on white (common practice).
        ("#000000", "#ffffff", 21.0),
        ("#767676", "#ffffff", 4.54),
        ("#777777", "#ffffff", 4.48),
    ],
)
def test_contrast_formula(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("tone", Tone, ids=lambda tone: tone.value)
@pytest.mark.parametrize("ground", ["background", "raised", "cursor"])
def test_every_tone_can_be_read(name: str, tone: Tone, ground: str) -> None:
    palette = PALETTES[name]
    assert contrast(palette.tones[tone], getattr(palette, ground)) >= 4.5


def test_high_contrast_theme_is_blue_and_orange() -> None:
    tones = PALETTES["busprobe-contrast"].tones
    for tone in (Tone.ON, Tone.GOOD, Tone.NOTE):
        red, blue = int(tones[tone][1:3], 16), int(tones[tone][5:7], 16)
        assert blue > red, tone
    for tone in (Tone.BAD, Tone.WARN):
        red, blue = int(tones[tone][1:3], 16), int(tones[tone][5:7], 16)
        assert red > blue, tone


async def test_colours_on_the_screen_are_those_of_the_theme(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=(80, 24)) as pilot:
        for name in NAMES:
            app.theme = name
            await pilot.pause()
            allowed = {colour.lower() for colour in PALETTES[name].tones.values()}
            headline = app.screen.query_one("#headline")
            strip = headline.render_line(0)
            used = {s.style.color.get_truecolor().hex for s in strip if s.style and s.style.color and s.text.strip()}
            assert used <= allowed


async def styles_on_the_board(app: BusprobeApp) -> list[Style]:
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        strips = app.screen._compositor.render_strips()
        return [segment.style for strip in strips for segment in strip if segment.style]


async def test_no_color_is_honoured(live: FakeScene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    live.alter_signal("gear", code=UNKNOWN, text="unknown (lost)")
    styles = await styles_on_the_board(BusprobeApp(live))
    assert not any(style.color or style.bgcolor for style in styles)
    assert any(style.reverse for style in styles)  # the cursor's row
    assert any(style.underline for style in styles)  # what is unknown
    assert any(style.dim for style in styles)


async def test_an_empty_no_color_asks_for_nothing(live: FakeScene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "")
    colours = {s.color.get_truecolor().hex for s in await styles_on_the_board(BusprobeApp(live)) if s.color}
    assert PALETTES[NAMES[0]].tones[Tone.ON] in colours
