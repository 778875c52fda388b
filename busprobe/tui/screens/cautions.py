"""The usual cautions, shown before any live work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static


class Cautions(ModalScreen[None]):
    """A page to read; Enter goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter,escape,space", "dismiss", "Go on")]
    AUTO_FOCUS = "VerticalScroll"

    def __init__(self, cautions: Sequence[str]) -> None:
        super().__init__()
        self._cautions = cautions

    def compose(self) -> ComposeResult:
        with Vertical(classes="box help") as box:
            box.border_title = "Before you start"
            box.border_subtitle = "↑ ↓ read on · Enter goes on"
            with VerticalScroll():
                for caution in self._cautions:
                    yield Static(caution, classes="caution", markup=False)
