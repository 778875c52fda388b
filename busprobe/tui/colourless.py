"""Without colours: what the terminal gets where NO_COLOR is set (https://no-color.org).

Weight, underlining and reversal stay, and stand for the colours that go: failed is underlined
and bold, unknown underlined, of less weight dim, the cursor's row reversed.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from rich.segment import Segment
from rich.style import Style
from textual.app import App
from textual.color import Color
from textual.filter import LineFilter, Monochrome, NoColor

from busprobe.tui.view.spans import Tone

WEIGHT = {Tone.BAD: Style(underline=True), Tone.WARN: Style(underline=True), Tone.DIM: Style(dim=True)}
"""What a tone has beside its boldness."""
_NONE = Style()
_REVERSED = Style(reverse=True)


def weight(tone: Tone, *, cursor: bool) -> Style:
    """What to add to the style of a tone, on the cursor's row or off it."""
    return WEIGHT.get(tone, _NONE) + (_REVERSED if cursor else _NONE)


class Colourless(LineFilter):
    """Takes every colour out of a line, also those of the terminal's own table."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        return [Segment(text, style and _without_colour(style), control) for text, style, control in segments]


@lru_cache(1024)
def _without_colour(style: Style) -> Style:
    return style.without_color + Style(meta=style.meta) if style.meta else style.without_color


_FILTERS = (Colourless(),)


class ColourApp(App[None]):
    """An app that sends colours only where they are wanted: NO_COLOR is not there, or empty.

    Textual's own answer to NO_COLOR are shades of grey, which are colours too.
    """

    def __init__(self, **arguments: Any) -> None:
        super().__init__(**arguments)
        self.no_color = bool(os.environ.get("NO_COLOR"))

    def get_line_filters(self) -> Sequence[LineFilter]:
        if self.no_color:
            return _FILTERS
        return [one for one in super().get_line_filters() if not isinstance(one, Monochrome | NoColor)]
