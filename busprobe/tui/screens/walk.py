"""Guided walk: one action asked for at a time, and the wiggle test."""

from __future__ import annotations

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical

from busprobe.report.walk import result_line
from busprobe.session.guide import Guide, Happened
from busprobe.session.snapshot import Snapshot
from busprobe.session.walk_seen import Happening
from busprobe.session.wiggle import wiggle_result
from busprobe.tui.keys import bindings
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.spans import Column
from busprobe.tui.view.walk import walk_lines, wiggle_lines
from busprobe.tui.view.walk_roles import (
    REPLAY_COLUMNS,
    ROLE_COLUMNS,
    WalkFound,
    found_lines,
    result_at,
    result_text,
    role_rows,
    roles_title,
    signal_at,
)
from busprobe.tui.widgets.painted import Lines
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet

FAST_S = 0.05
"""Between two pictures while somebody listens for edges."""
BELLS = {Happening.PROMPT: 3, Happening.LOSS: 2, Happening.RESULT: 1, Happening.EDGE: 1}
"""How often the bell rings; of several happenings at once the one that rings most is heard."""
BELL_GAP_S = 0.15


class WalkScreen(BoardScreen):
    """Keys, calls and the bell; what is seen comes from the scene's guide, what is shown from `view.walk`."""

    NAME: ClassVar[str] = "walk"
    BINDINGS: ClassVar[list[BindingType]] = bindings("walk")
    CSS = """
    #prompt { height: 3fr; }
    #list { height: 2fr; min-height: 6; }
    #roles { height: 1fr; }
    #found { height: auto; }
    WalkScreen.-low #list { display: none; }
    WalkScreen.-low #list.-zoomed { display: block; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._sounds = False
        self._printed = {"walk": "", "wiggle": ""}
        """What was put down to be printed at the end: of the walk, and of a wiggle test that was not ended."""
        self._told = ""
        """What was said last of results that are not recorded."""

    @property
    def guide(self) -> Guide:
        scene = self.board.scene
        assert scene is not None, "a screen is shown of a scene only"
        return scene.guide

    def compose_body(self) -> ComposeResult:
        prompt = Sheet(id="prompt", classes="panel")
        prompt.border_title = "Do this"
        yield prompt
        with Vertical(id="list", classes="panel") as panel:
            panel.border_title = "Roles"
            yield Rows(self._columns, empty="No signal of the bench file has a role.", id="roles")
            yield Lines(id="found")

    @property
    def _columns(self) -> tuple[Column, ...]:
        return ROLE_COLUMNS if self.board.replay is None else REPLAY_COLUMNS

    def on_mount(self) -> None:
        self.set_interval(FAST_S, self._hurry)

    def _hurry(self) -> None:
        if not self.is_current or not self.guide.is_listening:
            return
        self.board.pull_now()
        if self.app.screen is not self and self.board.picture is not None:
            self.show(self.board.picture)  # a question is asked over it: what happens meanwhile counts too

    def paint(self, picture: Snapshot) -> None:
        guide, chosen = self.guide, self.board.chosen
        if guide.wiggle is not None and chosen is not None and chosen != guide.wiggle.signal:
            guide.start_wiggle(chosen)
        before = len(guide.found)
        self._take(guide.look(picture), before, picture)
        found = self._found(picture)
        sheet, roles = self.query_one("#prompt", Sheet), self.query_one("#roles", Rows)
        width, height = sheet.size
        if guide.wiggle is not None:
            sheet.show_lines(wiggle_lines(guide.wiggle, picture, width, height, sounds=self._sounds))
        else:
            sheet.show_lines(walk_lines(found, picture, width, height, sounds=self._sounds))
        roles.show(role_rows(found))
        self.entitle(self.query_one("#list"), roles_title(found))
        lines = self.query_one("#found", Lines)
        shown = found_lines(
            roles.selected, self._columns, roles.size.width, max(self.query_one("#list").size.height - 3, 0)
        )
        lines.styles.height = len(shown)
        lines.show_lines(shown)
        self._print("walk", result_text(found, picture))
        unfinished = None if guide.wiggle is None else wiggle_result(guide.wiggle)
        self._print("wiggle", "" if unfinished is None else f"{result_line(unfinished)}, not ended")

    def _found(self, picture: Snapshot) -> WalkFound:
        guide = self.guide
        assert guide.walk is not None, "it has looked at a picture"
        return WalkFound(guide.walk, guide.recorded, guide.found, picture.start_ns, picture.mode == "replay")

    def _take(self, happened: Happened, before: int, picture: Snapshot) -> None:
        """Sound what happened; tell of a new result. before: how many there were."""
        self._sound(happened)
        guide = self.guide
        if len(guide.found) == before or guide.walk is None:
            return
        if guide.told and guide.told != self._told:
            self.notify(guide.told, severity="warning")
        self._told = guide.told
        if guide.walk.task is not None:
            self.query_one("#roles", Rows).select(guide.walk.task.signal)

    def _print(self, what: str, text: str) -> None:
        """At the end, instead of what was to be printed of it before."""
        saved, before = self.board.saved, self._printed[what]
        if text == before:
            return
        if before in saved:
            saved.remove(before)
        self._printed[what] = text
        if text:
            saved.append(text)

    def _sound(self, happened: Happened) -> None:
        if not happened or not self._sounds:
            return
        self.app.bell()
        for number in range(1, max(BELLS[one] for one in happened)):
            self.set_timer(number * BELL_GAP_S, self.app.bell)

    def copied(self) -> str | None:
        text = super().copied()
        return text if text is not None else self.query_one("#prompt", Sheet).as_text()

    # --- keys

    def action_begin(self) -> None:
        self.guide.begin()
        self.repaint()

    def action_again(self) -> None:
        self.guide.again()
        self.repaint()

    def action_next(self) -> None:
        """Go on with what was seen."""
        if self.picture is not None:
            before = len(self.guide.found)
            self._take(self.guide.go_on(self.picture), before, self.picture)
            self.repaint()

    def action_jump(self) -> None:
        """To the instant of the selected result."""
        if self.picture is not None:
            result = result_at(self._found(self.picture), self.query_one("#roles", Rows).cursor)
            self.jump_to(None if result is None else result.t_ns)

    def action_bell(self) -> None:
        self._sounds = not self._sounds
        if self._sounds:
            self.app.bell()
        self.notify("The bell sounds: 3× prompt, 1× edge, 2× loss." if self._sounds else "The bell is silent.")
        self.repaint()

    def action_wiggle(self) -> None:
        """Watch the signal chosen, or the role selected; again to end."""
        if self.guide.wiggle is not None:
            self._end_wiggle()
        else:
            roles = self.query_one("#roles", Rows)
            if roles.has_focus and self.picture is not None:
                self.board.chosen = signal_at(self._found(self.picture), roles.cursor) or self.board.chosen
            if self.board.chosen is None:
                self.action_pick_signal()
                return
            self.guide.start_wiggle(self.board.chosen)
        self.repaint()

    def _end_wiggle(self) -> None:
        result = self.guide.end_wiggle()
        if result is not None:
            text, told = result_line(result), self.guide.told
            self.board.saved.append(text)
            self.notify(f"{text}.{' ' + told if told else ''}", markup=False)

    @on(Rows.Moved, "#roles")
    def _other_row(self) -> None:
        self.repaint()

    @on(Rows.Chosen, "#roles")
    def _ask_this(self, event: Rows.Chosen) -> None:
        self.guide.ask(event.row.key)
        self.repaint()
