"""The line below the panels in which the words of a filter are typed; it stays while they count."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widget import Widget
from textual.widgets import Input, Label


class FilterLine(Horizontal):
    """Open while words are typed, or kept; it remembers what had the focus before."""

    def __init__(self) -> None:
        super().__init__(id="filter-line")
        self.display = False
        self._before: Widget | None = None

    def compose(self) -> ComposeResult:
        yield Label("Filter")
        yield Input(placeholder="words; Enter keeps, Esc: all", id="filter", compact=True)

    @property
    def is_open(self) -> bool:
        return bool(self.display)

    def open(self) -> Input:
        """Show it; what is to have the focus now."""
        line = self.query_one(Input)
        if self.screen.focused is not line:
            self._before = self.screen.focused
        self.display = True
        return line

    def leave(self, *, keep: bool) -> Widget | None:
        """No longer type there: the words stay, or all is shown again. What had the focus before."""
        if not keep:
            self.query_one(Input).value = ""
        self.display = keep
        return self._before
