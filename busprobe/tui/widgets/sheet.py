"""A drawing of lines that can be focused and scrolled by page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType

from busprobe.tui.keys import bindings
from busprobe.tui.view.spans import Span, plain
from busprobe.tui.widgets.painted import Lines


class Sheet(Lines, can_focus=True, inherit_bindings=False):
    """Lines in a panel; up and down stay free for the screen."""

    BINDINGS: ClassVar[list[BindingType]] = bindings("sheet")

    def show_lines(self, lines: Sequence[Sequence[Span]]) -> None:
        super().show_lines(lines)
        self.virtual_size = self.size.with_height(len(lines))

    def as_text(self) -> str:
        """All lines, without colours."""
        return "\n".join(plain(line).rstrip() for line in self.lines)

    def action_page(self, step: int) -> None:
        self.scroll_to(y=self.scroll_offset.y + step * max(self.size.height - 1, 1), animate=False)
