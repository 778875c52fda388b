"""Questions: a line of text, or yes and no."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Static


class AskText(ModalScreen[str | None]):
    """Asks for one line; Escape gives None."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Cancel")]
    AUTO_FOCUS = "Input"

    def __init__(self, question: str, value: str = "", *, hint: str = "") -> None:
        super().__init__()
        self._question, self._value, self._hint = question, value, hint

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(self._question, markup=False)
            yield Input(self._value, placeholder=self._hint, compact=True, select_on_focus=False)
            yield Static("Enter: do it   Esc: cancel", classes="dim")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.dismiss(event.value)


class AskYes(ModalScreen[bool]):
    """Asks yes or no; Escape is no."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(False)", "No"),
        Binding("n", "dismiss(False)", "No"),
        Binding("y", "dismiss(True)", "Yes"),
    ]
    AUTO_FOCUS = "#no"

    def __init__(self, question: str, yes: str, no: str) -> None:
        super().__init__()
        self._question, self._yes, self._no = question, yes, no

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(self._question, markup=False)
            with Horizontal(classes="answers"):
                yield Button(f"y  {self._yes}", id="yes", compact=True)
                yield Button(f"n  {self._no}", id="no", compact=True)

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.dismiss(event.button.id == "yes")
