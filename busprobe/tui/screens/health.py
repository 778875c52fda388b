"""Health: sources, recording, and everything that wants attention."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical

from busprobe.session.snapshot import Snapshot
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.health import (
    PROBLEM_COLUMNS,
    SOURCE_COLUMNS,
    problem_rows,
    recording_lines,
    source_rows,
    sources_title,
    text_width,
)
from busprobe.tui.widgets.painted import Lines
from busprobe.tui.widgets.rows import Rows


class Health(BoardScreen):
    """Whether what the other screens say can be relied on."""

    NAME: ClassVar[str] = "health"

    def compose_body(self) -> ComposeResult:
        sources = Rows(SOURCE_COLUMNS, empty="No source: neither bus nor input box.", id="sources", classes="panel")
        sources.border_title = "Sources"
        yield sources
        with Vertical(id="recording", classes="panel") as recording:
            recording.border_title = "Recording"
            yield Lines(id="recording-lines")
        problems = Rows(PROBLEM_COLUMNS, empty="Nothing wants attention.", id="problems", classes="panel")
        problems.border_title = "Wants attention"
        yield problems

    def paint(self, picture: Snapshot) -> None:
        sources, problems = self.query_one("#sources", Rows), self.query_one("#problems", Rows)
        sources.show(source_rows(picture, self.words))
        self.entitle(sources, sources_title(picture, sources.size.width - 2))
        lines = recording_lines(picture)
        self.query_one("#recording-lines", Lines).show_lines(lines)
        problems.show(problem_rows(picture, self.words, text_width(problems.size.width)))
        if self.zoomed is None:
            sources.styles.height = max(sources.height_wanted, len(sources.rows) + 2) + 1
            self.query_one("#recording").styles.height = len(lines) + 1
        else:
            self.zoomed.styles.height = "1fr"
