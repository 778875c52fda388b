"""Results of the guided walk of a live vehicle: kept from the first on, and in every recording that goes on."""

from __future__ import annotations

import threading

from busprobe.recording.walk_events import walk_event
from busprobe.results import WalkResult
from busprobe.session.recorder import Recording


class KeptWalk:
    """May be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._results: list[WalkResult] = []
        self._recording: Recording | None = None

    def add(self, result: WalkResult) -> bool:
        """Keep a result; False where no recording goes on: the next one gets it when it begins."""
        with self._lock:
            self._results.append(result)
            if self._recording is None:
                return False
            self._recording.put_lines([walk_event(result)])
            return True

    def record_to(self, recording: Recording | None) -> None:
        """A recording begins, which gets all that was found before, each with its own time; or none goes on."""
        with self._lock:
            self._recording = recording
            if recording is not None:
                recording.put_lines([walk_event(result) for result in self._results])
