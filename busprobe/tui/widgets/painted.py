"""A surface on which lines of spans are painted; the base of busprobe's own widgets."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.filter import ANSIToTruecolor, LineFilter
from textual.geometry import Region
from textual.scroll_view import ScrollView
from textual.strip import Strip

from busprobe.tui.colourless import weight
from busprobe.tui.view.spans import BOLD, Span, Tone, fit, printable


class _Styles(dict[Tone, Style]):
    """Styles by tone, made when they are first wanted."""

    def __init__(self, make: Callable[[Tone], Style]) -> None:
        super().__init__()
        self._make = make

    def __missing__(self, tone: Tone) -> Style:
        style = self[tone] = self._make(tone)
        return style


class PaintedStrip(Strip):
    """A line of a widget; taken whole, as nearly always, it is not looked through for where to cut it."""

    def divide(self, cuts: Iterable[int]) -> Sequence[Strip]:
        cuts = [cut for cut in cuts if cut <= self.cell_length]
        return [self] if cuts == [self.cell_length] else super().divide(cuts)


class Painted(ScrollView, can_focus=False):
    """Turns spans into strips of the screen in the colours of the theme."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"painted--note"}
    """Only where a style sheet gives a tone more than its colour: each costs time whenever a screen comes up."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes)
        self._styles = (_Styles(self.style_of), _Styles(partial(self.style_of, cursor=True)))
        """Off the cursor's row, and on it."""
        self._strips: dict[int, tuple[object, int, Strip]] = {}
        """By line of the content, what it was painted from, at what width, and how it looks."""
        self._across = self._top = 0
        """While it is painted: its width, and its first line in view."""

    def notify_style_update(self) -> None:
        for styles in self._styles:
            styles.clear()
        self._strips.clear()
        super().notify_style_update()

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Colours of a theme are true colours already: looking through every line for others costs a tenth."""
        return [f for f in super().get_line_filters() if not isinstance(f, ANSIToTruecolor)]

    def style_of(self, tone: Tone, *, cursor: bool = False) -> Style:
        """The theme's style of a tone, on the cursor's row or off it."""
        colours = self.app.theme_variables
        ground = colours["cursor-row"] if cursor else None
        style = self.rich_style + Style(color=colours[f"tone-{tone.value}"], bgcolor=ground, bold=tone in BOLD)
        if tone is Tone.NOTE:
            style += self.get_component_rich_style("painted--note", partial=True)
        if self.app.no_color:
            style += weight(tone, cursor=cursor)
        return style

    @property
    def across(self) -> int:
        """Width of its lines: a scroll bar takes the last column."""
        return self.size.width - (self.scrollbar_size_vertical if self.show_vertical_scrollbar else 0)

    # --- lines

    def token(self, y: int) -> object:
        """What line `y` of the content is painted from: an equal token, an equal line."""
        raise NotImplementedError

    def render_lines(self, crop: Region) -> list[Strip]:
        """The lines of a part of the widget; what was painted from an equal token is not painted again.

        A style sheet may give such a widget a line above it and colours, nothing else: the way through
        all that it could do to any widget takes as long as the painting itself.
        """
        self._across, self._top = self.across, self.scroll_offset.y
        gutter = self.styles.gutter
        if gutter.width or gutter.bottom or self.get_line_filters():
            return super().render_lines(crop)
        strips = [self._kept(y - gutter.top) for y in crop.line_range]
        first, last = crop.column_span
        return strips if first == 0 and last >= self._across else [strip.crop(first, last) for strip in strips]

    def _kept(self, y: int) -> Strip:
        """Line `y` of the content, above it (-1) that with the title."""
        token = self.token(y) if y >= 0 else (self.border_title, self.border_subtitle)
        kept = self._strips.get(y)
        if kept is None or kept[0] != token or kept[1] != self._across:
            strip = self.render_line(y) if y >= 0 else self._title_line()
            kept = self._strips[y] = (token, self._across, strip)
        return kept[2]

    def _title_line(self) -> Strip:
        return super().render_lines(Region(0, 0, self.outer_size.width, 1))[0]

    def strip(self, spans: Sequence[Span], *, cursor: bool = False, fits: bool = False) -> Strip:
        """One line, cut or padded to the width of what is being painted. fits: it has that width already."""
        styles, joins = self._styles[cursor], self.blanks_join
        segments: list[Segment] = []
        text, tone = "", Tone.PLAIN
        for more, its_tone in spans if fits else fit(spans, self._across):
            if its_tone is tone or (joins and more.isspace()):
                text += more
                continue
            if text:
                segments.append(Segment(printable(text), styles[tone]))
            text, tone = more, its_tone
        segments.append(Segment(printable(text), styles[tone]))
        return PaintedStrip(segments, self._across)

    @property
    def blanks_join(self) -> bool:
        """Whether a blank looks the same in every tone: without colours a tone may be a line under the text."""
        return not self.app.no_color


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
        top, width = self.scroll_offset.y, self.across
        if changed := [
            Region(0, y - top, width, 1) for y, (was, now) in enumerate(zip(old, new, strict=True)) if was != now
        ]:
            self.refresh(*changed)

    @property
    def lines(self) -> list[tuple[Span, ...]]:
        return self._lines

    def token(self, y: int) -> tuple[Span, ...]:
        row = y + self._top
        return self._lines[row] if row < len(self._lines) else ()

    def render_line(self, y: int) -> Strip:
        return self.strip(self.token(y))
