"""Three themes of busprobe's own: dark, light, and high contrast in blue and orange.

Every tone has a contrast of at least 4.5 to 1 on the background and on the cursor's row, the
least for text of WCAG 2.1, success criterion 1.4.3; a test holds them to it.
"""

from __future__ import annotations

from typing import NamedTuple

from textual.theme import Theme

from busprobe.tui.view.spans import Tone


class Palette(NamedTuple):
    """Colours of one theme."""

    background: str
    raised: str
    """Header, footer, panels that lie above others."""
    cursor: str
    """Background of the cursor's row."""
    tones: dict[Tone, str]


PALETTES = {
    "busprobe-dark": Palette(
        "#12161a", "#1d242b", "#243a50",
        {
            Tone.PLAIN: "#e4e7ea", Tone.DIM: "#a9b4be", Tone.STRONG: "#ffffff", Tone.HEAD: "#b9c7d6",
            Tone.ON: "#8fe0d0", Tone.GOOD: "#8fdc9a", Tone.BAD: "#ff9d94", Tone.WARN: "#ffd07a",
            Tone.NOTE: "#d3bdff", Tone.KEY: "#ffd07a",
        },
    ),
    "busprobe-light": Palette(
        "#fbfaf6", "#eceae2", "#cfe0f2",
        {
            Tone.PLAIN: "#1c1d1f", Tone.DIM: "#4a525a", Tone.STRONG: "#000000", Tone.HEAD: "#39424c",
            Tone.ON: "#00504a", Tone.GOOD: "#14572a", Tone.BAD: "#97150f", Tone.WARN: "#684300",
            Tone.NOTE: "#52309e", Tone.KEY: "#684300",
        },
    ),
    "busprobe-contrast": Palette(
        "#000000", "#101010", "#00336b",
        {
            Tone.PLAIN: "#ffffff", Tone.DIM: "#d2d2d2", Tone.STRONG: "#ffffff", Tone.HEAD: "#ffffff",
            Tone.ON: "#8cc8ff", Tone.GOOD: "#8cc8ff", Tone.BAD: "#ffab4d", Tone.WARN: "#ffd3a3",
            Tone.NOTE: "#b5dcff", Tone.KEY: "#ffab4d",
        },
    ),
}  # fmt: skip
"""Name -> colours; the first is the default."""

NAMES = tuple(PALETTES)


def themes() -> list[Theme]:
    """Textual's themes; the tones are their variables $tone-dim, $tone-bad, …"""
    return [_theme(name, palette) for name, palette in PALETTES.items()]


def _theme(name: str, palette: Palette) -> Theme:
    tones = palette.tones
    variables = {f"tone-{tone.value}": colour for tone, colour in tones.items()}
    variables |= {
        "cursor-row": palette.cursor,
        "raised": palette.raised,
        "border": tones[Tone.DIM],
        "border-blurred": tones[Tone.DIM],
        "footer-background": palette.raised,
        "input-selection-background": palette.cursor,
        "block-cursor-background": palette.cursor,
        "block-cursor-foreground": tones[Tone.STRONG],
        "block-hover-background": palette.raised,
        "scrollbar": tones[Tone.DIM],
        "scrollbar-background": palette.raised,
        "text-muted": tones[Tone.DIM],
    }
    return Theme(
        name=name,
        primary=tones[Tone.HEAD],
        secondary=tones[Tone.DIM],
        accent=tones[Tone.NOTE],
        success=tones[Tone.GOOD],
        warning=tones[Tone.WARN],
        error=tones[Tone.BAD],
        foreground=tones[Tone.PLAIN],
        background=palette.background,
        surface=palette.background,
        panel=palette.raised,
        dark=name != "busprobe-light",
        variables=variables,
    )
