"""Health."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult

from busprobe.session.snapshot import Snapshot
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.spans import Column, Row, cell
from busprobe.tui.widgets.rows import Rows


class Health(BoardScreen):
    """Sources, recording, problems."""

    NAME: ClassVar[str] = "health"

    def compose_body(self) -> ComposeResult:
        rows = Rows((Column("Source", 20), Column("State", 20)), classes="panel")
        rows.border_title = "Sources"
        yield rows

    def paint(self, picture: Snapshot) -> None:
        self.query_one(Rows).show([Row(s.name, (cell(s.name), cell(s.state))) for s in picture.sources])
