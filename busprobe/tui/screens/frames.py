"""Frames: one row an identifier, and the bits of the one selected."""

from __future__ import annotations

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal

from busprobe.session.snapshot import FrameDetail, Snapshot
from busprobe.tui.keys import bindings
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view import frame_detail, frames
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet


class Side(Horizontal):
    """Panels side by side, with nothing of its own to paint."""

    BLANK = True


class FramesScreen(BoardScreen):
    """Keys and calls; rows come from `view.frames`, the details from `view.frame_detail`."""

    NAME: ClassVar[str] = "frames"
    BINDINGS: ClassVar[list[BindingType]] = bindings("frames")
    CSS = """
    #detail { height: 10; }
    #bits { width: 43; overflow-y: auto; }
    #bits > .painted--note { text-style: bold underline; }
    #bits, #values { height: 100%; }
    #frames, #values { width: 1fr; }
    #frames { height: 1fr; }
    FramesScreen.-low #detail { display: none; }
    FramesScreen.-low #detail.-around { display: block; height: 1fr; }
    FramesScreen.-narrow #values { display: none; }
    FramesScreen.-narrow #values.-zoomed { display: block; }
    FramesScreen.-narrow #bits { width: 1fr; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._order = frames.ORDERS[0]
        self._bits = False
        self._texts = frames.PayloadTexts()
        self._rows: frames.FrameRows | None = None
        self._stepped_ns: int | None = None
        """The step from frame to frame that the selection has followed."""
        self._detail: FrameDetail | None = None

    def compose_body(self) -> ComposeResult:
        yield Rows(frames.columns(self._wanted(), several_channels=False), id="frames", classes="panel")
        with Side(id="detail"):
            yield Sheet(id="bits", classes="panel")
            yield Rows(
                frame_detail.VALUE_COLUMNS, empty="No database names signals here.", id="values", classes="panel"
            )

    def paint(self, picture: Snapshot) -> None:
        wanted, table = self._wanted(), picture.frames
        indexes = frames.shown(table, wanted, picture.t_ns)
        self._rows = frames.FrameRows(table, indexes, picture.t_ns, self._texts, bits=wanted.bits)
        listed = self.query_one("#frames", Rows)
        listed.empty = frames.none_text(table, is_replay=self.board.replay is not None)
        listed.show(self._rows, frames.columns(wanted, several_channels=len(table.channels) > 1))
        self._follow_step(picture, listed)
        self.entitle(listed, frames.title(table, len(indexes), wanted, held=self.board.is_holding))
        self._paint_detail()

    def _follow_step(self, picture: Snapshot, listed: Rows) -> None:
        """Select the identifier of the frame that a step has just reached."""
        replay = self.board.replay
        stepped_ns = None if replay is None else replay.stepped_ns
        if stepped_ns == self._stepped_ns or stepped_ns not in (None, picture.t_ns):
            return  # followed already, or its picture is still to come
        self._stepped_ns = stepped_ns
        for key in frames.reached_keys(picture.frames, picture.t_ns) if stepped_ns is not None else ():
            if listed.select(key):
                return

    def _paint_detail(self) -> None:
        bits, values = self.query_one("#bits", Sheet), self.query_one("#values", Rows)
        detail = self._detail = self._newest_detail()
        bits.show_lines(frame_detail.grid_lines(detail))
        values.show(frame_detail.value_rows(detail))
        self.entitle(bits, frame_detail.title(detail))
        self.entitle(values, frame_detail.values_title(detail))

    def _newest_detail(self) -> FrameDetail | None:
        listed, rows, scene = self.query_one("#frames", Rows), self._rows, self.board.scene
        if rows is None or scene is None or listed.cursor >= len(rows):
            return None
        i = int(rows.indexes[listed.cursor])
        table = rows.table
        name, identifier = table.channels[table.channel[i]], int(table.identifier[i])
        detail = scene.frame_detail(name, identifier, bool(table.is_extended[i]))
        # The scene has gone on since the picture: what is drawn is the picture's payload.
        return None if detail is None else frame_detail.held(detail, *rows.payload(i))

    def _wanted(self) -> frames.Wanted:
        return frames.Wanted(self.words, self._order, self._bits)

    def copied(self) -> str | None:
        listed = self.query_one("#frames", Rows)
        if self._rows is not None and listed.has_focus and listed.cursor < len(self._rows):
            return self._rows.as_text(listed.cursor)
        return super().copied()

    # --- keys

    def action_sort(self) -> None:
        self._order = frames.next_order(self._order)
        self.repaint()

    def action_bits(self) -> None:
        self._bits = not self._bits
        self.repaint()

    @on(Rows.Moved, "#frames")
    def _other_identifier(self) -> None:
        self._paint_detail()

    @on(Rows.Chosen, "#frames")
    def _to_values(self) -> None:
        self.action_panel(2)

    @on(Rows.Chosen, "#values")
    def _to_path(self, event: Rows.Chosen) -> None:
        if self.picture is None or self._detail is None:
            return
        name = frame_detail.bench_signal(self.picture.signals, self._detail.message, event.row.key)
        if name is None:
            self.notify("The bench file has no signal from this one.", severity="warning")
        else:
            self.board.choose_signal(name)
