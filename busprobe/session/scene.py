"""The contract between screens and what they look at: a live run, or a recording being replayed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from busprobe.frames import Int64Array
from busprobe.results import CheckResult, Logged
from busprobe.session.guide import Guide
from busprobe.session.snapshot import FrameDetail, Mark, SignalPath, Snapshot

SPEEDS = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 100.0)
"""Replay speeds, times real time."""


def recording_file(name: str) -> Path:
    """The file that a recording of this name is: a name without our suffix gets it."""
    path = Path(name)
    return path if path.suffix == ".duckdb" else path.with_name(f"{path.name}.duckdb")


class Player(Protocol):
    """Moves the instant that a replay shows. Every call returns at once."""

    @property
    def position_ns(self) -> int: ...
    @property
    def is_playing(self) -> bool: ...
    @property
    def speed(self) -> float: ...
    @property
    def marks(self) -> Sequence[Mark]:
        """All marks known so far, in order of time."""
        ...

    @property
    def checks(self) -> Sequence[CheckResult]:
        """With every occurrence loaded so far, also those after the position."""
        ...

    @property
    def triggers(self) -> Sequence[Logged]:
        """The trigger log loaded so far, also what is after the position."""
        ...

    def edges(self, signal: str) -> Int64Array:
        """(n,) times of all edges of a signal loaded so far; empty for a name that is not there."""
        ...

    def play(self) -> None: ...
    def pause(self) -> None: ...
    def set_speed(self, speed: float) -> None: ...
    def seek(self, t_ns: int) -> None:
        """Go to a time; kept within the recording."""
        ...

    def step_frame(self, direction: int) -> None:
        """To the next (1) or last (-1) frame."""
        ...

    def step_mark(self, direction: int, kind: str, signal: str | None = None) -> Mark | None:
        """To the next or last mark of a kind; "edge" takes the signal whose edges count. None: there is none."""
        ...

    def add_marker(self, note: str) -> str:
        """Set a marker here, kept in the recording; returns what to tell the user ("" if all is well)."""
        ...


class Scene(Protocol):
    """What the screens look at."""

    @property
    def player(self) -> Player | None:
        """None: live."""
        ...

    @property
    def guide(self) -> Guide:
        """The guided walk, and what it found."""
        ...

    @property
    def folder(self) -> Path:
        """Where files that belong to it are written by default: beside the recording."""
        ...

    def snapshot(self) -> Snapshot:
        """The picture of now; quick, and safe from any thread."""
        ...

    def frame_detail(self, channel: str, identifier: int, is_extended: bool) -> FrameDetail | None: ...

    def path(self, signal: str) -> SignalPath | None: ...

    def start_recording(self, path: str) -> str:
        """Live: record from now on. Returns what to tell the user ("" if it goes on)."""
        ...

    def stop_recording(self) -> str:
        """Live: close the recording. Returns what to tell the user ("" if it will be)."""
        ...

    def stop_loading(self) -> None:
        """Replay: give up loading; what is loaded stays."""
        ...

    def close(self) -> None:
        """Stop everything; harmless twice."""
        ...
