"""Pictures pulled from a scene, a fixed number of times a second."""

from __future__ import annotations

from busprobe.session.scene import Scene
from busprobe.session.snapshot import Snapshot

PERIOD_S = 0.1
"""Between two pictures: ten a second are enough for reading."""


class Pull:
    """Takes pictures of a scene. While it holds, the last one stays and the scene runs on."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._last: Snapshot | None = None
        self._is_holding = False

    @property
    def is_holding(self) -> bool:
        return self._is_holding

    def hold(self) -> None:
        """Hold, or go on. What is held is made whole: the scene forgets what was long ago."""
        self._is_holding = not self._is_holding
        for signal in self._last.signals if self._is_holding and self._last is not None else ():
            signal.strip  # noqa: B018

    @property
    def last(self) -> Snapshot | None:
        """The picture shown."""
        return self._last

    def take(self) -> Snapshot | None:
        """A new picture; None: there is nothing new to paint."""
        if self._is_holding and self._last is not None:
            return None
        picture = self._scene.snapshot()
        if picture is self._last:
            return None
        self._last = picture
        return picture
