"""Help: the keys that work on the screen it was called from."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen, Screen

from busprobe.tui.keys import ONLY_IN_REPLAY
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.keys_help import HELP_COLUMNS, help_rows, text_width
from busprobe.tui.widgets.rows import Rows


class HelpScreen(ModalScreen[None]):
    """A list made from the live bindings."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,f1,q", "dismiss", "Close"),
    ]

    def __init__(self, screen: Screen[object]) -> None:
        super().__init__()
        is_live = isinstance(screen, BoardScreen) and screen.board.replay is None
        alive = [active.binding for active in screen.active_bindings.values() if active.enabled]
        self._ids = [binding for binding in alive if not (is_live and binding.id in ONLY_IN_REPLAY)]

    def compose(self) -> ComposeResult:
        with Vertical(classes="box help") as box:
            box.border_title = "Keys that work here"
            box.border_subtitle = "↑ ↓ read on · Esc closes"
            yield Rows(HELP_COLUMNS)

    def on_mount(self) -> None:
        self.call_after_refresh(self._show)

    def on_resize(self) -> None:
        self.call_after_refresh(self._show)

    def _show(self) -> None:
        rows = self.query_one(Rows)
        rows.show(help_rows(self._ids, text_width(rows.size.width)))
