"""Scenes of frozen pictures: no thread, no clock, no device. Every call is noted in `calls`."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path

import fake_van
import numpy as np

from busprobe.frames import Int64Array
from busprobe.report.walk import result_line
from busprobe.results import CheckResult, Logged, WalkResult
from busprobe.session.guide import Guide
from busprobe.session.kept_marks import walk_marks
from busprobe.session.scene import SPEEDS
from busprobe.session.snapshot import FrameDetail, Mark, SignalPath, Snapshot


class FakePlayer:
    """Moves `t_ns` of its scene's picture and nothing else."""

    def __init__(self, scene: FakeScene, marks: Sequence[Mark]) -> None:
        self._scene = scene
        self._marks = list(marks)
        self.is_playing = False
        self.speed = 1.0

    @property
    def position_ns(self) -> int:
        return self._scene.picture.t_ns

    @property
    def marks(self) -> Sequence[Mark]:
        return self._marks

    @property
    def checks(self) -> Sequence[CheckResult]:
        return self._scene.picture.checks

    @property
    def triggers(self) -> Sequence[Logged]:
        return self._scene.picture.triggers

    def edges(self, signal: str) -> Int64Array:
        return np.array([fake_van.at(s) for s in fake_van.EDGES.get(signal, ())], np.int64)

    def play(self) -> None:
        self._change(is_playing=True)

    def pause(self) -> None:
        self._change(is_playing=False)

    def set_speed(self, speed: float) -> None:
        assert speed in SPEEDS
        self._change(speed=speed)

    def _change(self, **fields: bool | float) -> None:
        for name, value in fields.items():
            setattr(self, name, value)
            self._scene.calls.append(f"{name} {value}")
        self._scene.alter(**fields)

    def seek(self, t_ns: int) -> None:
        picture = self._scene.picture
        t_ns = max(min(t_ns, picture.end_ns), picture.start_ns)
        self._scene.calls.append(f"seek {(t_ns - picture.start_ns) / 1e9:g}")
        self._scene.alter(t_ns=t_ns)

    def step_frame(self, direction: int) -> None:
        self._scene.calls.append(f"step_frame {direction}")
        self._scene.alter(t_ns=self.position_ns + direction * fake_van.MS)

    def step_mark(self, direction: int, kind: str, signal: str | None = None) -> Mark | None:
        self._scene.calls.append(f"step_mark {direction} {kind} {signal}")
        here = self.position_ns
        fitting = [m for m in self._marks if m.kind == kind and (m.t_ns > here if direction > 0 else m.t_ns < here)]
        if not fitting:
            return None
        mark = fitting[0] if direction > 0 else fitting[-1]
        self._scene.alter(t_ns=mark.t_ns)
        return mark

    def add_marker(self, note: str) -> str:
        self._scene.calls.append(f"add_marker {note}")
        self._marks.append(Mark(self.position_ns, "marker", note))
        self._marks.sort(key=lambda mark: mark.t_ns)
        return ""


class FakeScene:
    """Gives the picture it was given, until `alter` or `show` changes it."""

    def __init__(
        self, picture: Snapshot, *, marks: Sequence[Mark] | None = None, recorded: Sequence[WalkResult] = ()
    ) -> None:
        """marks: of a replay; None: live, without a player. recorded: what a walk found."""
        self.picture = picture
        self.calls: list[str] = []
        self.is_closed = False
        self.trouble = ""
        """What starting a recording answers."""
        self.player: FakePlayer | None = None if marks is None else FakePlayer(self, marks)
        self.guide = Guide(self.keep_result, recorded)

    @classmethod
    def live(cls, picture: Snapshot = fake_van.LIVE) -> FakeScene:
        return cls(picture)

    @classmethod
    def replay(cls, picture: Snapshot = fake_van.REPLAY, recorded: Sequence[WalkResult] = ()) -> FakeScene:
        marks = sorted([*fake_van.MARKS, *walk_marks(recorded, fake_van.START)], key=lambda mark: mark.t_ns)
        return cls(picture, marks=marks, recorded=recorded)

    # --- for tests

    def show(self, picture: Snapshot) -> None:
        """The next picture."""
        self.picture = picture

    def alter(self, **fields: object) -> None:
        """The same picture with other fields."""
        self.picture = dataclasses.replace(self.picture, **fields)  # type: ignore[arg-type]

    def alter_signal(self, name: str, **fields: object) -> None:
        """The same picture with other fields of one signal."""
        self.alter(
            signals=tuple(
                dataclasses.replace(s, **fields) if s.name == name else s  # type: ignore[arg-type]
                for s in self.picture.signals
            )
        )

    # --- Scene

    @property
    def folder(self) -> Path:
        return Path("drives")

    def snapshot(self) -> Snapshot:
        return self.picture

    def frame_detail(self, channel: str, identifier: int, is_extended: bool) -> FrameDetail | None:
        wanted = (channel, identifier, is_extended)
        detail = fake_van.DETAIL
        return detail if wanted == (detail.channel, detail.identifier, detail.is_extended) else None

    def path(self, signal: str) -> SignalPath | None:
        return fake_van.PATHS.get(signal)

    def start_recording(self, path: str) -> str:
        self.calls.append(f"start_recording {path}")
        if not self.trouble:
            self.alter(recorder=dataclasses.replace(fake_van.RECORDER, name=path))
        return self.trouble

    def stop_recording(self) -> str:
        self.calls.append("stop_recording")
        self.alter(recorder=None)
        return ""

    def keep_result(self, result: WalkResult) -> str:
        self.calls.append(f"keep {result_line(result)}")
        return "" if self.player is None else "A recording that is replayed keeps no result of a walk."

    def stop_loading(self) -> None:
        self.calls.append("stop_loading")

    def close(self) -> None:
        self.is_closed = True
