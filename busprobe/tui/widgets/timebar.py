"""The replay bar above the footer, and the list of what differs between two instants."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.events import Click
from textual.widgets import Label

from busprobe.session.snapshot import Snapshot
from busprobe.tui.view.timebar import (
    DIFFERENCE_COLUMNS,
    Density,
    Scale,
    bar_lines,
    difference_rows,
    difference_title,
    scale,
)
from busprobe.tui.widgets.painted import Lines
from busprobe.tui.widgets.rows import Rows

if TYPE_CHECKING:
    from busprobe.tui.replay import Replay


class Timebar(Lines):
    """Two lines: words, and the whole recording with its marks; a click goes there."""

    def __init__(self, replay: Replay) -> None:
        super().__init__(id="timebar")
        self._replay = replay
        self._density = Density()
        self._scale = Scale(0, 1, 0)

    def show(self, picture: Snapshot) -> None:
        on = self._scale = scale(picture, self.size.width)
        marks, bar = self._replay.player.marks, self._replay.bar()
        line = self._density.line(marks, self._replay.edges(picture), bar.signal, on)
        self.show_lines(bar_lines(picture, bar, line, marks, on))

    def on_click(self, event: Click) -> None:
        if event.y == 0:
            self._replay.do("play")
        else:
            self._replay.seek(self._scale.time(event.x))


class PlayerBar(Vertical):
    """Everything that a replay has and a live run has not."""

    def __init__(self, replay: Replay) -> None:
        super().__init__()
        self._replay = replay

    def compose(self) -> ComposeResult:
        with Vertical(id="differ"):
            yield Label(markup=False, id="differ-title")
            yield Rows(DIFFERENCE_COLUMNS, empty="Every signal says the same at both instants.", id="differ-rows")
        yield Timebar(self._replay)

    def show(self, picture: Snapshot) -> None:
        pinned = self._replay.pinned
        is_shown = pinned is not None and self._replay.is_comparing
        self.query_one("#differ").set_class(is_shown, "-shown")
        if is_shown and pinned is not None:
            rows = difference_rows(pinned, picture)
            self.query_one("#differ").styles.height = max(len(rows), 1) + 2
            self.query_one("#differ-rows", Rows).show(rows)
            self.query_one("#differ-title", Label).update(difference_title(pinned, picture, len(rows)))
        self.query_one(Timebar).show(picture)
