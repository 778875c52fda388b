"""A list of any length, painted row by row: only rows in view are drawn, only changed ones sent."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, NamedTuple

from textual.binding import BindingType
from textual.events import Click, Resize
from textual.geometry import Region, Size
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip

from busprobe.tui.keys import bindings
from busprobe.tui.view.foot import foot_line, foot_places
from busprobe.tui.view.lazy_rows import place_of
from busprobe.tui.view.spans import Column, Row, Span, Tone, fit, share
from busprobe.tui.widgets.painted import Painted

HEADED = 3
"""A list of at least so many lines has a heading; in a lower one rows count more."""
LEAST_ROWS = 4
"""So many rows are shown before a line is given to columns that have no room."""
NEARLY_ALL = 0.7


class Parts(NamedTuple):
    """Lines of a list from top to bottom; only the page scrolls."""

    heading: int
    page: int
    foot: int
    """For columns that have no room."""


class Rows(Painted, can_focus=True):
    """Rows of cells under fixed columns, with a cursor that stays on its row when rows move.

    What columns that have no room say of the row under the cursor stands at the foot:

     Signal     Value       heading
     gear       R
    ▶speed      12 km/h
    ╰ Kind bus  Source body.WheelSpeed.VehicleSpeed
    """

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
        self._left_out: list[list[int]] = []
        """Columns that have no room, in lines at the foot."""
        self._painted = Parts(0, 0, 0)
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
        top, (heading, page, foot), shares = self.scroll_offset.y, self._parts, self._shares()
        changed = (
            _changed_part(shares, i + heading - top, old[i], rows[i])
            for i in range(top, min(top + page, len(rows)))
            if rows[i].cells != old[i].cells
        )
        regions = [region for region in changed if region]
        here = rows[self.cursor].cells if rows else ()
        if selected is not None and any(here[i] != selected.cells[i] for line in self._left_out[:foot] for i in line):
            regions.append(Region(0, self.size.height - foot, self.size.width, foot))
        if regions:
            self.refresh(*regions)

    @property
    def height_wanted(self) -> int:
        """Lines for all rows, the heading, and what columns without room say of one of them."""
        self._shares()
        return len(self._rows) + 1 + len(self._left_out)

    @property
    def _parts(self) -> Parts:
        """How its height is shared."""
        height, count = self.size.height, len(self._rows)
        heading = 1 if height >= HEADED else 0
        self._shares()
        spare = height - heading - min(count, LEAST_ROWS)
        foot = max(min(spare, len(self._left_out)), 0) if count else 0
        return Parts(heading, height - heading - foot, foot)

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

    def render_lines(self, crop: Region) -> list[Strip]:
        self._painted = self._parts
        return super().render_lines(crop)

    def token(self, y: int) -> object:
        heading, page, foot = self._painted
        i = y - heading + self._top
        if (place := y - heading - page) >= 0 and (row := self.selected) is not None:
            return place, [row.cells[index] for index in self._left_out[place]] if place < foot else None
        if y < heading or i >= len(self._rows):
            return y < heading, self._columns, self.empty if y == heading else ""
        here = i == self.cursor
        return self._rows[i].cells, here, here and self.has_focus

    def render_line(self, y: int) -> Strip:
        heading, page, foot = self._painted
        if y < heading:
            return self.strip(self._heading())
        if (place := y - heading - page) >= 0 and (row := self.selected) is not None:
            if place >= foot:
                return self.strip(())
            return self.strip(foot_line(self._columns, self._left_out[place], row, self._across, first=place == 0))
        i = y - heading + self._top
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
            self._left_out = foot_places(self._columns, {index for index, _ in self._widths}, across - 1)
        return self._widths

    def _measure(self) -> None:
        self.virtual_size = Size(self.size.width, len(self._rows) + self.size.height - self._parts.page)

    def on_resize(self, event: Resize) -> None:
        self._measure()
        self._keep_in_view()

    # --- moving

    def watch_cursor(self, old: int, new: int) -> None:
        heading, _, foot = self._parts
        self.refresh_line(old + heading)
        self.refresh_line(new + heading)
        if foot:
            self.refresh(Region(0, self.size.height - foot, self.size.width, foot))
        self._keep_in_view()
        if self.selected is not None and old != new:
            self.post_message(self.Moved(self, self.selected))

    def on_focus(self) -> None:
        self.refresh_line(self.cursor + self._parts.heading)

    def on_blur(self) -> None:
        self.refresh_line(self.cursor + self._parts.heading)

    def _keep_in_view(self) -> None:
        top, page = self.scroll_offset.y, max(self._parts.page, 1)
        if self.cursor < top:
            self.scroll_to(y=self.cursor, animate=False)
        elif self.cursor >= top + page:
            self.scroll_to(y=self.cursor - page + 1, animate=False)

    def _move(self, to: int) -> None:
        self.cursor = max(min(to, len(self._rows) - 1), 0)

    def action_cursor(self, step: int) -> None:
        self._move(self.cursor + step)

    def action_page(self, step: int) -> None:
        self._move(self.cursor + step * max(self._parts.page - 1, 1))

    def action_edge(self, last: int) -> None:
        self._move(len(self._rows) - 1 if last else 0)

    def action_choose(self) -> None:
        if self.selected is not None:
            self.post_message(self.Chosen(self, self.selected))

    def on_click(self, event: Click) -> None:
        at = event.get_content_offset(self)
        heading, page, _ = self._parts
        if at is None or not heading <= at.y < heading + page:
            return
        i = at.y - heading + self.scroll_offset.y
        if i >= len(self._rows):
            return
        if i == self.cursor:
            self.action_choose()
        self._move(i)


def _changed_part(shares: Sequence[tuple[int, int]], y: int, old: Row, new: Row) -> Region:
    """Line `y` up to its last changed cell; empty: those that changed are not shown.

    Up to near its end it is the whole line: cutting it there would cost more than sending it.
    """
    x = end = 0
    for index, width in shares:
        x += 1 + width
        if old.cells[index] != new.cells[index]:
            end = x
    return Region(0, y, end if end < NEARLY_ALL * x else x, 1) if end else Region()
