"""Marks of the replay bar that stand in a recording: markers, results of the guided walk, and gaps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from busprobe.frames import Condition, SourceState
from busprobe.report.quantities import exact
from busprobe.results import Marker, WalkOutcome, WalkResult
from busprobe.session.downs import Downs
from busprobe.session.opening import OpenedSource, dropped_before, markers_of
from busprobe.session.snapshot import Mark


def own_marks(source: OpenedSource, walk: Sequence[WalkResult]) -> list[Mark]:
    """What a recording keeps besides its records, and what it lacks from the start. walk: what that found."""
    start_ns = source.start_ns or 0
    dropped = ring_marks(dropped_before(source.about), start_ns)
    return [*dropped, *marker_marks(markers_of(source)), *walk_marks(walk, start_ns)]


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


def ring_marks(dropped_ns: int | None, start_ns: int) -> list[Mark]:
    """What a full ring has dropped, as a gap at the beginning; dropped_ns: before when all is gone, if it is."""
    if dropped_ns is None or dropped_ns <= start_ns:
        return []
    text = f"ring full: first {exact(dropped_ns - start_ns)} dropped"
    return [Mark(start_ns, "gap", text, dropped_ns)]


def gap_marks(rows: Iterable[SourceState], downs: Downs) -> list[Mark]:
    """When sources went down, and until when they were. downs: knows of these rows already."""
    ends = {(name, down.begin_ns): down.end_ns for name, spans in downs.whole().items() for down in spans}
    return [
        Mark(
            row.t_ns,
            "gap",
            f"{row.source} down" + (f": {row.note}" if row.note else ""),
            ends.get((row.source, row.t_ns)),
        )
        for row in rows
        if row.condition is Condition.DOWN
    ]
