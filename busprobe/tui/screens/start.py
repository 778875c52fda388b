"""The start page."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.screen import Screen
from textual.widgets import Static


class StartPage(Screen[None]):
    """What to open."""

    def compose(self) -> ComposeResult:
        yield Static("busprobe")
