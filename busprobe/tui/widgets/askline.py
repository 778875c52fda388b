"""A question over the footer. Unlike a screen of its own it hides nothing and needs no second picture when it goes."""

from __future__ import annotations

from collections.abc import Callable

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, Label

Answer = Callable[[str], None]

KEYS = "Enter: do it   Esc: cancel"
LEAST_ROOM = 36
"""Cells for what is typed; with fewer beside the question it gets a line of its own."""


class AskLine(Horizontal):
    """Asks for one line of text while the board goes on above it."""

    def __init__(self) -> None:
        super().__init__()
        self._question = self._hint = ""
        self._answer: Answer | None = None
        self._focus_before: Widget | None = None

    def compose(self) -> ComposeResult:
        yield Label(markup=False, id="ask-question")
        yield Input(compact=True, id="ask")
        yield Label(KEYS, id="ask-keys")

    @property
    def is_asking(self) -> bool:
        return self._answer is not None

    def ask(self, question: str, answer: Answer, *, hint: str = "") -> None:
        """Show the question; `answer` gets the line, and is not called if it is left."""
        self._answer, self._focus_before = answer, self.screen.focused
        self._question, self._hint = question, hint
        self._share_room()
        line = self.query_one(Input)
        line.value, line.placeholder = "", hint
        self.add_class("-shown")
        line.focus()

    def _share_room(self) -> None:
        """One line, or the question in a line above what is typed, with the keys where they have room."""
        room = self.screen.size.width - 2
        beside = room - len(self._question) - len(KEYS) - 4
        is_stacked = beside < max(LEAST_ROOM, len(self._hint) + 1)
        self.set_class(is_stacked, "-stacked")
        has_keys = is_stacked and len(self._question) + 3 + len(KEYS) <= room
        keys = Content.styled(f"   {KEYS}" if has_keys else "", "not bold $tone-dim")
        self.query_one("#ask-question", Label).update(Content(self._question) + keys)

    def on_resize(self) -> None:
        if self.is_asking:
            self._share_room()

    def leave(self) -> None:
        """Take the question away unanswered."""
        self._answer = None
        self.remove_class("-shown")
        if self.query_one(Input).has_focus:
            self.screen.set_focus(self._focus_before)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        answer = self._answer
        if answer is not None:
            # Before the line goes: then both come in one picture.
            answer(event.value)
        self.leave()

    def on_descendant_blur(self) -> None:
        if self.is_asking:
            self.leave()
