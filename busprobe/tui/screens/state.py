"""State board: tiles for gear, speed, brake and doors, then every signal."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from busprobe.session.snapshot import Snapshot
from busprobe.tui.keys import bindings
from busprobe.tui.screens.base import BoardScreen, Body
from busprobe.tui.view.signals import COLUMNS, ORDERS, signal_rows
from busprobe.tui.view.tiles import height_wanted, tile_lines, title
from busprobe.tui.widgets.painted import Lines
from busprobe.tui.widgets.rows import Rows


class Tiles(Lines, can_focus=True):
    """The tiles; in focus, so that they can be zoomed."""

    def on_resize(self) -> None:
        self.post_message(Body.Resized())


class StateBoard(BoardScreen):
    """What the vehicle and the controller do now."""

    NAME: ClassVar[str] = "state"
    BINDINGS: ClassVar[list[BindingType]] = bindings("state")

    order: str = ORDERS[0]

    def compose_body(self) -> ComposeResult:
        tiles = Tiles(classes="panel")
        yield tiles
        rows = Rows(COLUMNS, empty="No signal has these words, or the bench file names none.", classes="panel")
        rows.border_title = "Signals"
        yield rows

    def paint(self, picture: Snapshot) -> None:
        tiles, rows = self.query_one(Tiles), self.query_one(Rows)
        body = self.query_one("#body").size
        if self.zoomed is tiles:
            tiles.styles.height = "1fr"
        else:
            tiles.styles.height = height_wanted(picture, body.width, body.height - 2) + 1
        tiles.show_lines(tile_lines(picture, tiles.size.width, tiles.size.height))
        self.entitle(tiles, title(picture, tiles.size.width, tiles.size.height))
        rows.show(signal_rows(picture, self.words, self.order))
        self.entitle(rows, f"Signals · {self.order}" + (f" · only: {self.words}" if self.words else ""))

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        self.board.choose_signal(event.row.key)

    def action_sort(self) -> None:
        self.order = ORDERS[(ORDERS.index(self.order) + 1) % len(ORDERS)]
        self.repaint()
