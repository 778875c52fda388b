"""Faults of the simulated van, to set and to take back while it drives."""

from __future__ import annotations

from collections.abc import Collection
from typing import ClassVar, Protocol, runtime_checkable

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen

from busprobe.tui.view.van import COLUMNS, fault_rows, title
from busprobe.tui.widgets.rows import Rows

LOOK_S = 0.5
"""How often it looks whether the van still drives."""


class FaultyVan(Protocol):
    """A simulated van."""

    @property
    def faults(self) -> tuple[str, ...]:
        """Names of all faults, the common ones first."""
        ...

    @property
    def faults_set(self) -> Collection[str]: ...

    @property
    def trouble(self) -> str:
        """Why it drives no more; empty while it does."""
        ...

    def toggle(self, fault: str) -> None:
        """Set a fault, or take it back."""
        ...


@runtime_checkable
class HasVan(Protocol):
    """A scene whose vehicle is a simulated van."""

    @property
    def van(self) -> FaultyVan: ...


class VanFaults(ModalScreen[None]):
    """A list; Enter sets a fault and takes it back, and the list stays."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "set", "Set"),
        Binding("escape,7,q", "dismiss", "Close"),
    ]
    CSS = """
    VanFaults .box { width: 48; height: 80%; }
    VanFaults Rows { height: 1fr; background: $raised; }
    """

    def __init__(self, van: FaultyVan) -> None:
        super().__init__()
        self._van = van

    def compose(self) -> ComposeResult:
        with Vertical(classes="box") as box:
            box.border_title = title(self._van.trouble)
            box.border_subtitle = "Enter sets, and takes back · Esc closes"
            yield Rows(COLUMNS)

    def on_mount(self) -> None:
        self._paint()
        self.set_interval(LOOK_S, self._paint)

    def _paint(self) -> None:
        self.query_one(".box").border_title = title(self._van.trouble)
        self.query_one(Rows).show(fault_rows(self._van.faults, self._van.faults_set))

    def action_set(self) -> None:
        row = self.query_one(Rows).selected
        if row is not None:
            self._toggle(row.key)

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.stop()
        self._toggle(event.row.key)

    def _toggle(self, fault: str) -> None:
        self._van.toggle(fault)
        self._paint()
        if self._van.trouble:
            self.notify(self._van.trouble, severity="error", markup=False)
