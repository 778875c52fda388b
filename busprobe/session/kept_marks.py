"""Marks of the replay bar that stand in a recording: markers, and results of the guided walk."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.results import Marker, WalkOutcome, WalkResult
from busprobe.session.snapshot import Mark


def marker_marks(markers: Sequence[Marker]) -> list[Mark]:
    """A mark for each marker kept in a recording."""
    return [Mark(marker.t_ns, "marker", marker.note) for marker in markers]


def walk_marks(results: Sequence[WalkResult], start_ns: int) -> list[Mark]:
    """A mark for each result found in the recording; what was found before it began is not on the bar."""
    return [Mark(result.t_ns, "walk", mark_text(result)) for result in results if result.t_ns >= start_ns]


def mark_text(result: WalkResult) -> str:
    """"rear_door: confirmed"."""  # fmt: skip
    if result.outcome is WalkOutcome.NOTED:
        return result.text
    return f"{result.signal}: {result.outcome.value}"
