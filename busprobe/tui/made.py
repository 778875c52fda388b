"""The recordings that are made while the dashboard is open: what is asked before, and what is kept of them."""

from __future__ import annotations

import weakref
from datetime import datetime
from pathlib import Path
from typing import Protocol, runtime_checkable

from busprobe.report.quantities import counted
from busprobe.session.scene import Scene, recording_file
from busprobe.session.snapshot import Snapshot
from busprobe.tui.recent import Opened, remember


def question(picture: Snapshot | None) -> str:
    """What is asked before a recording, with what is given up for it."""
    asked = "Record to this file:"
    if picture is None:
        return asked
    results = sum(len(check.occurrences) for check in picture.checks)
    parts = (counted(results, "result") if results else "", _entries(len(picture.triggers)))
    lost = " and ".join(part for part in parts if part)
    return f"{asked}\nA new run begins: the {lost} so far are given up." if lost else asked


def proposed() -> str:
    """A name for its file."""
    return f"busprobe-{datetime.now():%Y%m%d-%H%M%S}.duckdb"


def _entries(count: int) -> str:
    return f"{count:,} line{'' if count == 1 else 's'} of the trigger log" if count else ""


@runtime_checkable
class Recording(Protocol):
    """A scene that records."""

    def wait_closed(self, path: Path) -> None: ...


class Made:
    """The recording that goes on."""

    def __init__(self, saved: list[str]) -> None:
        """saved: what is printed after leaving."""
        self._saved = saved
        self._path: Path | None = None
        self._scene: weakref.ref[Scene] | None = None
        """That recorded last; its thread keeps it until its file is closed."""

    def wait_closed(self, path: Path | None) -> None:
        """Wait until a file that was recorded to here is closed. Raises OpenError where it is still recorded to."""
        scene = None if self._scene is None else self._scene()
        if path is not None and isinstance(scene, Recording):
            scene.wait_closed(path)

    def begin(self, scene: Scene, name: str) -> str:
        """Begin one; what to tell of it."""
        trouble = scene.start_recording(name)
        if trouble:
            return trouble
        self.end()
        self._path, self._scene = recording_file(name).absolute(), weakref.ref(scene)
        return f"Recording to {self._path.name}: a new run begins, from unknown."

    def stop(self, scene: Scene, name: str) -> str:
        """Stop it; what to tell of it. name: of its file."""
        trouble = scene.stop_recording()
        if trouble:
            return trouble
        self.end()
        return f"{name} is being closed."

    def end(self) -> None:
        """It is over: its file can be opened from now on."""
        path, self._path = self._path, None
        if path is not None:
            remember(Opened(path, None))
            self._saved.append(f"Recorded to {path}.")
