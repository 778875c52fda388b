"""Signal path: one signal from the wire to the lamp."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal

from busprobe.session.snapshot import ClosedBox, Snapshot
from busprobe.tui.keys import bindings
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.closed_box import in_order, next_check, opened, standing
from busprobe.tui.view.path import PICKER_COLUMNS, neighbour, path_lines, picker_rows, title
from busprobe.tui.view.path_large import large_lines
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet

if TYPE_CHECKING:
    from busprobe.tui.replay import Jumped


class PathScreen(BoardScreen):
    """Keys and calls; the drawing comes from `view.path`."""

    NAME: ClassVar[str] = "path"
    BINDINGS: ClassVar[list[BindingType]] = bindings("path")
    CSS = """
    #path { width: 1fr; height: 1fr; overflow-y: auto; scrollbar-gutter: stable; }
    #picker { width: 34; height: 1fr; }
    .-narrow #picker { width: 22; }
    """
    AUTO_FOCUS = "#path"

    def __init__(self) -> None:
        super().__init__()
        self._is_large = False
        self._check: str | None = None
        """The check asked for; None, or one that does not use the signal: the one that has most to say."""
        self._jumped: Jumped | None = None
        """The jump that it has followed."""
        self._boxes: tuple[ClosedBox, ...] = ()
        self._titled: tuple[str | None, ...] = ()
        """Signal, check drawn and all its checks: what the title was made from."""

    def compose_body(self) -> ComposeResult:
        with Horizontal():
            yield Sheet(id="path", classes="panel")
            picker = Rows(PICKER_COLUMNS, empty="No signal with these words.", id="picker", classes="panel")
            picker.border_title = "Choose"
            picker.display = False
            yield picker

    def paint(self, picture: Snapshot) -> None:
        if self.board.chosen is None:
            self.board.chosen = neighbour(picture.signals, None, 0)
        replay = self.board.replay
        if replay is not None and replay.jumped is not self._jumped and replay.jumped is not None:
            self._jumped, self._check = replay.jumped, replay.jumped.check
        sheet, picker = self.query_one("#path", Sheet), self.query_one("#picker", Rows)
        name, scene = self.board.chosen, self.board.scene
        path = scene.path(name) if name is not None and scene is not None else None
        if path is not None:
            path = replace(path, boxes=(*path.boxes, *standing(path, picture)))
        if path is not None and replay is not None:
            path = replace(path, boxes=opened(path.boxes, replay.player.checks, picture.t_ns))
        width, height = sheet.scrollable_content_region.size
        if self._is_large and path is not None:
            sheet.show_lines(large_lines(path, picture, width, height, self._check))
        else:
            sheet.show_lines(path_lines(path, picture, width, height, chosen=name, check=self._check))
        self._boxes = () if path is None else path.boxes
        self._entitle(sheet, picture)
        if picker.display:
            picker.show(picker_rows(picture.signals, self.words))

    def _entitle(self, sheet: Sheet, picture: Snapshot) -> None:
        """Only where it changes: the title looks at all signals, the drawing at one."""
        drawn = next((box.check for box in in_order(self._boxes, picture, self._check)), None)
        titled = (self.board.chosen, drawn, *(box.check for box in self._boxes))
        if titled != self._titled:
            self._titled = titled
            self.entitle(sheet, title(picture.signals, self.board.chosen, self._boxes, drawn))

    def _choose(self, name: str | None) -> None:
        if name is not None and name != self.board.chosen:
            self.board.chosen = name
            self.query_one("#path", Sheet).scroll_to(y=0, animate=False)
            self.repaint()

    # --- keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """The list of signals is a panel while it is open."""
        is_list = action == "panel" and parameters != (0,)
        return super().check_action(action, parameters) and not (is_list and not self.query_one("#picker").display)

    def action_signal(self, step: int) -> None:
        if self.picture is not None:
            self._choose(neighbour(self.picture.signals, self.board.chosen, step))

    def action_check(self) -> None:
        """Draw the next check of the signal between its edges."""
        if self.picture is not None:
            self._check = next_check(self._boxes, self.picture, self._check)
            self.repaint()

    def action_large(self) -> None:
        self._is_large = not self._is_large
        self.repaint()

    def action_pick(self) -> None:
        """Open the list of signals, or close it."""
        picker = self.query_one("#picker", Rows)
        if picker.display:
            self._close_picker()
            return
        picker.display = True
        self.focus_now(picker)
        if self.picture is not None and self.board.chosen is not None:
            picker.show(picker_rows(self.picture.signals, self.words))
            picker.select(self.board.chosen)
        self.call_after_refresh(self.repaint)

    def _close_picker(self) -> None:
        self.query_one("#picker", Rows).display = False
        self.query_one("#path", Sheet).focus()
        self.call_after_refresh(self.repaint)

    def action_filter(self) -> None:
        if not self.query_one("#picker", Rows).display:
            self.action_pick()
        super().action_filter()

    def action_back(self) -> None:
        if self.query_one("#picker", Rows).has_focus:
            self._close_picker()
        else:
            super().action_back()

    def copied(self) -> str | None:
        text = super().copied()
        return text if text is not None else self.query_one("#path", Sheet).as_text()

    @on(Rows.Moved, "#picker")
    def _moved(self, event: Rows.Moved) -> None:
        self._choose(event.row.key)

    @on(Rows.Chosen, "#picker")
    def _chosen(self, event: Rows.Chosen) -> None:
        self._choose(event.row.key)
        self._close_picker()
