"""Logic: checks with their verdicts and occurrences, and the trigger log."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal

from busprobe.errors import counted
from busprobe.report.trigger_log import triggers_text
from busprobe.results import CheckResult, Logged, Occurrence
from busprobe.session.snapshot import Snapshot
from busprobe.tui.files import free_name, write_new
from busprobe.tui.keys import bindings
from busprobe.tui.screens.ask import AskText
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view import logic
from busprobe.tui.view.latency import Axes, about_lines
from busprobe.tui.view.path import signal_of
from busprobe.tui.widgets.painted import Lines
from busprobe.tui.widgets.rows import Rows


class Logic(BoardScreen):
    """Keys and calls; rows come from `view.logic`, the plot from `view.latency`."""

    NAME: ClassVar[str] = "logic"
    BINDINGS: ClassVar[list[BindingType]] = bindings("logic")
    CSS = """
    #checks { height: 4fr; min-height: 5; }
    #about { height: auto; overflow: hidden; }
    #lower { height: 3fr; min-height: 4; }
    #occurrences, #log { width: 1fr; height: 100%; }
    Logic #log { display: none; }
    Logic.-log #log, Logic.-wide #log { display: block; }
    Logic.-log #occurrences { display: none; }
    Logic.-wide #occurrences { display: block; }
    Logic.-low #about { display: none; }
    Logic #log.-zoomed, Logic #occurrences.-zoomed { display: block; }
    Logic .-aside { display: none; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._rows = logic.LogicRows()
        self._axes = Axes()
        self._is_whole = True
        self._checks: Sequence[CheckResult] = ()
        self._triggers: Sequence[Logged] = ()
        self._drawn: tuple[CheckResult | None, Occurrence | None, int] = (None, None, 0)
        """What the plot was drawn for: a check may have thousands of occurrences."""

    def compose_body(self) -> ComposeResult:
        checks = Rows(logic.CHECK_COLUMNS, id="checks", classes="panel")
        yield checks
        yield Lines(id="about")
        with Horizontal(id="lower"):
            occurrences = Rows(
                logic.OCCURRENCE_COLUMNS, empty="Never put to the test.", id="occurrences", classes="panel"
            )
            occurrences.border_title = "Occurrences"
            yield occurrences
            yield Rows(logic.TRIGGER_COLUMNS, id="log", classes="panel")

    def paint(self, picture: Snapshot) -> None:
        player = self.board.scene.player if self.board.scene is not None else None
        is_whole = self._is_whole and player is not None
        self._checks, self._triggers = picture.checks, picture.triggers
        if is_whole and player is not None:
            self._checks, self._triggers = player.checks, player.triggers
        checks, log = self.query_one("#checks", Rows), self.query_one("#log", Rows)
        checks.empty = logic.no_checks(self.words)
        log.empty = logic.no_triggers(self.words, is_whole=is_whole and picture.loaded >= 1)
        checks.show(self._rows.checks(self._checks, self.words))
        rows = self._rows.triggers(self._triggers, self.words, picture.start_ns)
        log.show(rows)
        self.entitle(checks, logic.checks_title(is_whole=is_whole, here_ns=picture.t_ns - picture.start_ns))
        self.entitle(log, logic.triggers_title(len(rows), len(self._triggers)))
        self._paint_check(picture)

    def _paint_check(self, picture: Snapshot) -> None:
        check, occurrences = self._check(), self.query_one("#occurrences", Rows)
        occurrences.show(self._rows.occurrences(check, picture.start_ns))
        about, one = self.query_one("#about", Lines), self._occurrence()
        width, (old_check, old_one, old_width) = about.size.width, self._drawn
        if check is old_check and one is old_one and width == old_width:
            return
        self._drawn = (check, one, width)
        lines = about_lines(check, one, picture.start_ns, width, self._axes)
        about.styles.height = len(lines)
        about.show_lines(lines)

    def _check(self) -> CheckResult | None:
        selected = self.query_one("#checks", Rows).selected
        return next((c for c in self._checks if selected is not None and c.name == selected.key), None)

    def _occurrence(self) -> Occurrence | None:
        check, at = self._check(), self.query_one("#occurrences", Rows).cursor
        return check.occurrences[at] if check is not None and at < len(check.occurrences) else None

    def _entry(self) -> Logged | None:
        shown, at = logic.shown_triggers(self._triggers, self.words), self.query_one("#log", Rows).cursor
        return shown[at][1] if at < len(shown) else None

    # --- keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A live run has no whole yet."""
        return super().check_action(action, parameters) and (action != "whole" or self.board.replay is not None)

    def action_whole(self) -> None:
        self._is_whole = not self._is_whole
        self.repaint()

    def action_log(self) -> None:
        """Show the trigger log and go there; from there back to the occurrences."""
        to_log = not self.query_one("#log", Rows).has_focus
        self.zoom(None)
        self.set_class(to_log, "-log")
        panel = self.query_one("#log" if to_log else "#occurrences", Rows)
        panel.focus()
        self.call_after_refresh(self.make_room, panel)
        self.call_after_refresh(self.repaint)

    def action_panel(self, number: int) -> None:
        if number in (1, 2):
            self.set_class(number == 2, "-log")
        super().action_panel(number)

    def action_jump(self) -> None:
        """To the instant of the selected line of the log, or occurrence."""
        if self.query_one("#log", Rows).has_focus:
            entry = self._entry()
            t_ns = None if entry is None else entry.t_ns
        else:
            check, one = self._check(), self._occurrence()
            t_ns = None if one is None else logic.instant_of(one)
            if check is not None and one is not None:
                self._tell_path(check, one)
        self.jump_to(t_ns)

    def _tell_path(self, check: CheckResult, one: Occurrence) -> None:
        """Signal path shows the check that is jumped to, by a signal of it."""
        replay, picture = self.board.replay, self.picture
        if replay is not None and picture is not None:
            self.board.chosen = signal_of(check, picture.signals, self.board.chosen)
            replay.note_jump(check.name, one.t_ns)

    def action_export(self) -> None:
        """Write the trigger log as shown to a file."""
        scene, picture = self.board.scene, self.picture
        if scene is None or picture is None:
            return
        entries = [entry for _, entry in logic.shown_triggers(self._triggers, self.words)]

        def write(name: str | None) -> None:
            if not name:
                return
            trouble = write_new(Path(name), triggers_text(Path(name), entries, picture.start_ns))
            if trouble:
                self.notify(trouble, severity="error", markup=False)
            else:
                self.notify(f"{counted(len(entries), 'line')} of the trigger log written to {name}.", markup=False)

        name = str(free_name(scene.folder / f"{Path(picture.title).stem}-triggers.csv"))
        self.app.push_screen(AskText("Write the trigger log to this file (.csv or .json):", name), write)

    @on(Rows.Moved, "#checks")
    @on(Rows.Moved, "#occurrences")
    def _moved(self) -> None:
        if self.picture is not None:
            self._paint_check(self.picture)

    @on(Rows.Chosen, "#checks")
    def _to_occurrences(self) -> None:
        self.action_panel(1)

    @on(Rows.Chosen, "#occurrences")
    @on(Rows.Chosen, "#log")
    def _jump(self) -> None:
        self.action_jump()
