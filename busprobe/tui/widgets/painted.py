"""A surface on which lines of spans are painted; the base of busprobe's own widgets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.filter import ANSIToTruecolor, LineFilter
from textual.geometry import Region
from textual.scroll_view import ScrollView
from textual.strip import Strip

from busprobe.tui.colourless import weight
from busprobe.tui.view.spans import BOLD, Span, Tone, fit, printable


class Painted(ScrollView, can_focus=False):
    """Turns spans into strips of the screen in the colours of the theme."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"painted--note"}
    """Only where a style sheet gives a tone more than its colour: each costs time whenever a screen comes up."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes)
        self._styles_of: dict[tuple[Tone, bool], Style] = {}

    def notify_style_update(self) -> None:
        self._styles_of = {}
        super().notify_style_update()

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Colours of a theme are true colours already: looking through every line for others costs a tenth."""
        return [f for f in super().get_line_filters() if not isinstance(f, ANSIToTruecolor)]

    def style_of(self, tone: Tone, *, cursor: bool = False) -> Style:
        """The theme's style of a tone, on the cursor's row or off it."""
        style = self._styles_of.get((tone, cursor))
        if style is None:
            colours = self.app.theme_variables
            ground = colours["cursor-row"] if cursor else None
            style = self.rich_style + Style(color=colours[f"tone-{tone.value}"], bgcolor=ground, bold=tone in BOLD)
            if tone is Tone.NOTE:
                style += self.get_component_rich_style("painted--note", partial=True)
            if self.app.no_color:
                style += weight(tone, cursor=cursor)
            self._styles_of[tone, cursor] = style
        return style

    def strip(self, spans: Sequence[Span], *, cursor: bool = False, fits: bool = False) -> Strip:
        """One line, cut or padded to the widget's width. fits: it has that width already."""
        width = self.size.width
        segments: list[Segment] = []
        text, tone = "", Tone.PLAIN
        for more, its_tone in spans if fits else fit(spans, width):
            if its_tone is tone:
                text += more
                continue
            if text:
                segments.append(Segment(printable(text), self.style_of(tone, cursor=cursor)))
            text, tone = more, its_tone
        segments.append(Segment(printable(text), self.style_of(tone, cursor=cursor)))
        return Strip(segments, width)


class Lines(Painted):
    """A few lines of spans that are too many to scroll away: header, footer, tiles, drawings."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes)
        self._lines: list[tuple[Span, ...]] = []

    def show_lines(self, lines: Sequence[Sequence[Span]]) -> None:
        """Paint these; only those that changed go to the terminal."""
        new = [tuple(line) for line in lines]
        old, self._lines = self._lines, new
        if len(new) != len(old):
            self.virtual_size = self.size.with_height(len(new))
            self.refresh()
            return
        top, width = self.scroll_offset.y, self.size.width
        if changed := [
            Region(0, y - top, width, 1) for y, (was, now) in enumerate(zip(old, new, strict=True)) if was != now
        ]:
            self.refresh(*changed)

    @property
    def lines(self) -> list[tuple[Span, ...]]:
        return self._lines

    def render_line(self, y: int) -> Strip:
        row = y + self.scroll_offset.y
        return self.strip(self._lines[row] if row < len(self._lines) else ())
