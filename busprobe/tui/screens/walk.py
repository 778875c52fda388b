"""Guided walk: one action asked for at a time, and the wiggle test."""

from __future__ import annotations

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import BindingType

from busprobe.session.snapshot import Snapshot
from busprobe.session.walk import Step, Walk, ask, ask_again, begin, give_up, new_walk, watch
from busprobe.session.walk_seen import Happening
from busprobe.session.walk_tasks import tasks
from busprobe.session.wiggle import Wiggle, watch_wiggle
from busprobe.tui.keys import bindings
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.walk import (
    ROLE_COLUMNS,
    result_line,
    result_text,
    role_rows,
    summary,
    walk_lines,
    wiggle_lines,
    wiggle_text,
)
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.sheet import Sheet

FAST_S = 0.05
"""Between two pictures while somebody listens for edges."""
BELLS = {Happening.PROMPT: 3, Happening.LOSS: 2, Happening.RESULT: 1, Happening.EDGE: 1}
"""How often the bell rings; of several happenings at once the one that rings most is heard."""
BELL_GAP_S = 0.15


class WalkScreen(BoardScreen):
    """Keys, calls and the bell; what is seen comes from `session.walk`, what is shown from `view.walk`."""

    NAME: ClassVar[str] = "walk"
    BINDINGS: ClassVar[list[BindingType]] = bindings("walk")
    CSS = """
    #prompt { height: 3fr; }
    #roles { height: 2fr; min-height: 6; }
    WalkScreen.-low #roles { display: none; }
    WalkScreen.-low #roles.-zoomed { display: block; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._walk: Walk | None = None
        self._wiggle: Wiggle | None = None
        self._sounds = False
        self._printed = ""
        """What was put down to be printed at the end."""

    def compose_body(self) -> ComposeResult:
        prompt = Sheet(id="prompt", classes="panel")
        prompt.border_title = "Do this"
        yield prompt
        roles = Rows(ROLE_COLUMNS, empty="No signal of the bench file has a role.", id="roles", classes="panel")
        roles.border_title = "Roles"
        yield roles

    def on_mount(self) -> None:
        self.set_interval(FAST_S, self._hurry)

    def _hurry(self) -> None:
        is_listening = self._wiggle is not None or (self._walk is not None and self._walk.task is not None)
        if self.is_current and is_listening:
            self.board.pull_now()

    def paint(self, picture: Snapshot) -> None:
        walk = self._walk if self._walk is not None else new_walk(tasks(picture.signals))
        if self._wiggle is not None:
            if self.board.chosen is not None and self.board.chosen != self._wiggle.signal:
                self._wiggle = Wiggle(self.board.chosen)
            self._wiggle, happened = watch_wiggle(self._wiggle, picture)
            self._sound(happened)
        else:
            walk = self._take(walk, watch(walk, picture), picture)
        self._walk = walk
        sheet, roles = self.query_one("#prompt", Sheet), self.query_one("#roles", Rows)
        width, height = sheet.size
        if self._wiggle is not None:
            sheet.show_lines(wiggle_lines(self._wiggle, picture, width, height, sounds=self._sounds))
        else:
            sheet.show_lines(walk_lines(walk, picture, width, height, sounds=self._sounds))
        roles.show(role_rows(walk))
        self.entitle(roles, f"Roles, {summary(walk)}")

    def _take(self, before: Walk, step: Step, picture: Snapshot) -> Walk:
        """Sound what happened; keep a new result."""
        walk, happened = step
        self._sound(happened)
        for task, was, result in zip(walk.tasks, before.results, walk.results, strict=True):
            if result is not None and result is not was:
                self._keep(result_line(task, result), walk, picture)
        return walk

    def _keep(self, line: str, walk: Walk, picture: Snapshot) -> None:
        """In the recording, where one goes on, and for printing at the end."""
        scene, saved = self.board.scene, self.board.saved
        told = scene.note(line) if scene is not None else ""
        if self._printed in saved:
            saved.remove(self._printed)
        elif told:
            self.notify(told, severity="warning")
        self._printed = result_text(walk, picture)
        saved.append(self._printed)
        if walk.task is not None and walk.place is not None:
            self.query_one("#roles", Rows).select(walk.tasks[walk.place].signal)

    def _sound(self, happened: tuple[Happening, ...]) -> None:
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
        if self._walk is not None:
            self._go(begin(self._walk))

    def action_again(self) -> None:
        if self._walk is not None:
            self._go(ask_again(self._walk))

    def action_next(self) -> None:
        """Go on with what was seen."""
        if self._walk is not None and self.picture is not None:
            self._go(self._take(self._walk, give_up(self._walk, self.picture), self.picture))

    def action_bell(self) -> None:
        self._sounds = not self._sounds
        if self._sounds:
            self.app.bell()
        self.notify("The bell sounds: 3× prompt, 1× edge, 2× loss." if self._sounds else "The bell is silent.")
        self.repaint()

    def action_wiggle(self) -> None:
        """Watch the signal chosen, or the role selected; again to end."""
        if self._wiggle is not None:
            self._end_wiggle(self._wiggle)
        else:
            selected = self.query_one("#roles", Rows).selected
            if self.query_one("#roles", Rows).has_focus and selected is not None:
                self.board.chosen = selected.key
            if self.board.chosen is None:
                self.action_pick_signal()
                return
            self._wiggle = Wiggle(self.board.chosen)
        self.repaint()

    def _end_wiggle(self, wiggle: Wiggle) -> None:
        self._wiggle = None
        text = wiggle_text(wiggle)
        told = self.board.scene.note(text) if self.board.scene is not None else ""
        self.board.saved.append(text)
        self.notify(f"{text}.{' ' + told if told else ''}", markup=False)

    def _go(self, walk: Walk) -> None:
        self._wiggle, self._walk = None, walk
        self.repaint()

    @on(Rows.Chosen, "#roles")
    def _ask_this(self, event: Rows.Chosen) -> None:
        places = [
            i
            for i, task in enumerate(self._walk.tasks if self._walk is not None else ())
            if task.signal == event.row.key
        ]
        if self._walk is not None and places:
            self._go(ask(self._walk, places[0]))
