"""A list of any length, painted row by row: only rows in view are drawn, only changed ones sent."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType
from textual.events import Click, Resize
from textual.geometry import Region, Size
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip

from busprobe.tui.keys import bindings
from busprobe.tui.view.lazy_rows import place_of
from busprobe.tui.view.spans import Column, Row, Span, Tone, fit, share
from busprobe.tui.widgets.painted import Painted

HEADING = 1
"""Lines above the rows that do not scroll."""
NEARLY_ALL = 0.7


class Rows(Painted, can_focus=True):
    """Rows of cells under fixed columns, with a cursor that stays on its row when rows move."""

    BINDINGS: ClassVar[list[BindingType]] = bindings("rows")

    cursor = reactive(0, repaint=False)

    class Chosen(Message):
        """Enter, or a click on the row under the cursor."""

        def __init__(self, rows: Rows, row: Row) -> None:
            super().__init__()
            self.rows = rows
            self.row = row

        @property
        def control(self) -> Rows:
            return self.rows

    class Moved(Message):
        """The cursor came to another row."""

        def __init__(self, rows: Rows, row: Row) -> None:
            super().__init__()
            self.rows = rows
            self.row = row

        @property
        def control(self) -> Rows:
            return self.rows

    def __init__(
        self,
        columns: Sequence[Column],
        *,
        empty: str = "Nothing here yet.",
        id: str | None = None,  # noqa: A002
        classes: str | None = None,
    ) -> None:
        """empty: what to say where there are no rows."""
        super().__init__(id=id, classes=classes)
        self._columns = tuple(columns)
        self._widths: list[tuple[int, int]] = []
        self._taken = self._shared = 0
        """Cells that the columns take, with the blanks between them; of how many."""
        self._rows: Sequence[Row] = ()
        self.empty = empty

    # --- what it shows

    def show(self, rows: Sequence[Row], columns: Sequence[Column] | None = None) -> None:
        """Paint these rows; the cursor stays on the row of the same key."""
        selected = self.selected
        old, self._rows = self._rows, rows
        if columns is not None and tuple(columns) != self._columns:
            self._columns = tuple(columns)
            self._shared = 0
            self.refresh()
        if selected is not None and not (self.cursor < len(rows) and rows[self.cursor].key == selected.key):
            place = place_of(rows, selected.key)
            self.cursor = self.cursor if place is None else place
        self.cursor = max(min(self.cursor, len(rows) - 1), 0)
        if len(rows) != len(old):
            self._measure()
            self.refresh()
            return
        top, height = self.scroll_offset.y, self.size.height
        changed = (
            self._changed_part(i + HEADING - top, old[i], rows[i])
            for i in range(top, min(top + height, len(rows)))
            if rows[i].cells != old[i].cells
        )
        if regions := [region for region in changed if region]:
            self.refresh(*regions)

    def _changed_part(self, y: int, old: Row, new: Row) -> Region:
        """A line up to its last changed cell; empty: those that changed are not shown.

        Up to near its end it is the whole line: cutting it there would cost more than sending it.
        """
        x = end = 0
        for index, width in self._shares():
            x += 1 + width
            if old.cells[index] != new.cells[index]:
                end = x
        return Region(0, y, end if end < NEARLY_ALL * x else x, 1) if end else Region()

    @property
    def rows(self) -> Sequence[Row]:
        return self._rows

    @property
    def selected(self) -> Row | None:
        """The row under the cursor."""
        return self._rows[self.cursor] if self.cursor < len(self._rows) else None

    def select(self, key: str) -> bool:
        """Put the cursor on the row of this key; False: there is none."""
        place = place_of(self._rows, key)
        if place is not None:
            self.cursor = place
        return place is not None

    # --- painting

    def token(self, y: int) -> object:
        i = y - HEADING + self._top
        if y < HEADING or i >= len(self._rows):
            return y < HEADING, self._columns, self.empty if y == HEADING else ""
        here = i == self.cursor
        return self._rows[i].cells, here, here and self.has_focus

    def render_line(self, y: int) -> Strip:
        if y < HEADING:
            return self.strip(self._heading())
        i = y - HEADING + self._top
        if not self._rows and i == 0:
            return self.strip((Span("  " + self.empty, Tone.DIM),))
        if i >= len(self._rows):
            return self.strip(())
        here = i == self.cursor
        line = self._line(self._rows[i], here=here)
        spare = self._across - 1 - self._taken
        if spare > 0:
            line.append(Span(" " * spare))
        return self.strip(line, cursor=here and self.has_focus, fits=spare >= 0)

    def _line(self, row: Row, *, here: bool) -> list[Span]:
        line, gap = [Span("▶" if here else " ", Tone.NOTE)], ""
        joins = self.blanks_join
        for index, width in self._shares():
            spans, align = row.cells[index], self._columns[index].align
            if joins and len(spans) == 1 and len(spans[0].text) <= width and spans[0].text.isascii():
                # Most cells: one text with its padding.
                text, tone = spans[0]
                line.append(Span(f"{gap}{text:<{width}}" if align == "left" else f"{gap}{text:>{width}}", tone))
            else:
                line += (Span(gap), *fit(spans, width, align))
            gap = " "
        return line

    def _heading(self) -> list[Span]:
        line: list[Span] = []
        for index, width in self._shares():
            column = self._columns[index]
            line += (Span(" "), *fit((Span(column.title, Tone.HEAD),), width, column.align))
        return line

    def _shares(self) -> list[tuple[int, int]]:
        """(column, its width), whether or not a scroll bar takes the last cell."""
        across = self.size.width
        if across != self._shared:
            self._shared = across
            self._widths = share(self._columns, across - 2)
            self._taken = sum(width + 1 for _, width in self._widths) - 1
        return self._widths

    def _measure(self) -> None:
        self.virtual_size = Size(self.size.width, len(self._rows) + HEADING)

    def on_resize(self, event: Resize) -> None:
        self._measure()
        self._keep_in_view()

    # --- moving

    def watch_cursor(self, old: int, new: int) -> None:
        self.refresh_line(old + HEADING)
        self.refresh_line(new + HEADING)
        self._keep_in_view()
        if self.selected is not None and old != new:
            self.post_message(self.Moved(self, self.selected))

    def on_focus(self) -> None:
        self.refresh_line(self.cursor + HEADING)

    def on_blur(self) -> None:
        self.refresh_line(self.cursor + HEADING)

    def _keep_in_view(self) -> None:
        top, page = self.scroll_offset.y, max(self.size.height - HEADING, 1)
        if self.cursor < top:
            self.scroll_to(y=self.cursor, animate=False)
        elif self.cursor >= top + page:
            self.scroll_to(y=self.cursor - page + 1, animate=False)

    def _move(self, to: int) -> None:
        self.cursor = max(min(to, len(self._rows) - 1), 0)

    def action_cursor(self, step: int) -> None:
        self._move(self.cursor + step)

    def action_page(self, step: int) -> None:
        self._move(self.cursor + step * max(self.size.height - HEADING - 1, 1))

    def action_edge(self, last: int) -> None:
        self._move(len(self._rows) - 1 if last else 0)

    def action_choose(self) -> None:
        if self.selected is not None:
            self.post_message(self.Chosen(self, self.selected))

    def on_click(self, event: Click) -> None:
        at = event.get_content_offset(self)
        if at is None or at.y < HEADING:
            return
        i = at.y - HEADING + self.scroll_offset.y
        if i >= len(self._rows):
            return
        if i == self.cursor:
            self.action_choose()
        self._move(i)
