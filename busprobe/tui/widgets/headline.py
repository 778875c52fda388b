"""The header: two lines on every screen."""

from __future__ import annotations

from textual.events import Resize

from busprobe.session.snapshot import Snapshot
from busprobe.tui.view.headline import headline
from busprobe.tui.widgets.painted import Lines


class Headline(Lines):
    """Vehicle, recording, time, mode, recording state, failed checks, newest trigger."""

    def __init__(self) -> None:
        super().__init__(id="headline")
        self._picture: Snapshot | None = None
        self._held = False

    def show(self, picture: Snapshot, *, held: bool = False) -> None:
        self._picture, self._held = picture, held
        self.show_lines(headline(picture, self.size.width, held=held))

    def on_resize(self, event: Resize) -> None:
        if self._picture is not None:
            self.show(self._picture, held=self._held)
