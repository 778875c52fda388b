"""Marks of the replay bar that stand in a recording: markers, and results of the guided walk."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.opening import OpenedSource, OwnRecording
from busprobe.session.snapshot import Mark


def kept_markers(source: OpenedSource) -> list[Mark]:
    """Those set in a recording of busprobe's own."""
    if not isinstance(source, OwnRecording):
        return []
    return [Mark(e.t_ns, "marker", e.name) for e in source.recording.events("marker")]


def walk_marks(results: Sequence[WalkResult], start_ns: int) -> list[Mark]:
    """A mark for each result found in the recording; what was found before it began is not on the bar."""
    return [Mark(result.t_ns, "walk", mark_text(result)) for result in results if result.t_ns >= start_ns]


def mark_text(result: WalkResult) -> str:
    """"rear_door: confirmed"."""  # fmt: skip
    if result.outcome is WalkOutcome.NOTED:
        return result.text
    return f"{result.signal}: {result.outcome.value}"
