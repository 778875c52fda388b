"""A list of all signals to choose one from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input

from busprobe.session.snapshot import SignalNow
from busprobe.tui.view.path import PICKER_COLUMNS, picker_rows
from busprobe.tui.widgets.rows import Rows


class PickSignal(ModalScreen[str | None]):
    """Arrows and Enter; words typed narrow the list. Escape gives None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Cancel"),
        Binding("up", "move(-1)", "Up"),
        Binding("down", "move(1)", "Down"),
    ]
    CSS = """
    PickSignal .box { width: 44; height: 80%; }
    PickSignal Rows { height: 1fr; background: $raised; }
    """
    AUTO_FOCUS = "Input"

    def __init__(self, signals: Sequence[SignalNow], chosen: str | None) -> None:
        super().__init__()
        self._signals, self._chosen = signals, chosen

    def compose(self) -> ComposeResult:
        with Vertical(classes="box") as box:
            box.border_title = "Signal for edges and wiggle test"
            yield Input(placeholder="words; ↑ ↓ and Enter choose", compact=True)
            yield Rows(PICKER_COLUMNS, empty="No signal with these words.")

    def on_mount(self) -> None:
        self._show("")
        if self._chosen is not None:
            self.query_one(Rows).select(self._chosen)

    def _show(self, words: str) -> None:
        self.query_one(Rows).show(picker_rows(self._signals, words))

    def action_move(self, step: int) -> None:
        self.query_one(Rows).action_cursor(step)

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self._show(event.value)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        selected = self.query_one(Rows).selected
        self.dismiss(None if selected is None else selected.key)

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.stop()
        self.dismiss(event.row.key)
