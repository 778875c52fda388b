"""The footer: help, the screens, a few keys; each can be clicked."""

from __future__ import annotations

from collections.abc import Sequence

from textual.events import Click, Resize

from busprobe.tui.view.footline import Item, Place, footline
from busprobe.tui.widgets.painted import Lines


class Footline(Lines):
    """One line of keys."""

    def __init__(self, keys: Sequence[Item], screens: Sequence[Item]) -> None:
        super().__init__(id="footline")
        self._keys, self._screens = keys, screens
        self._places: list[Place] = []

    def on_resize(self, event: Resize) -> None:
        spans, self._places = footline(self._keys, self._screens, self.size.width)
        self.show_lines([spans])

    async def on_click(self, event: Click) -> None:
        for place in self._places:
            if place.start <= event.x < place.end:
                await self.screen.run_action(place.action)
