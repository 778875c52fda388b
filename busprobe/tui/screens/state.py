"""State board."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult

from busprobe.session.snapshot import Snapshot
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.spans import Column, Row, cell
from busprobe.tui.widgets.rows import Rows


class StateBoard(BoardScreen):
    """Tiles and signals."""

    NAME: ClassVar[str] = "state"

    def compose_body(self) -> ComposeResult:
        rows = Rows((Column("Signal", 20), Column("Value", 20)), classes="panel")
        rows.border_title = "Signals"
        yield rows

    def paint(self, picture: Snapshot) -> None:
        self.query_one(Rows).show([Row(s.name, (cell(s.name), cell(s.text))) for s in picture.signals])
