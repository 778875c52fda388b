"""What cannot be read of a damaged recording, in words."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.recording.damage import Damage, Hole
from busprobe.report.quantities import counted, exact, moment

SHOWN = 5
"""Holes of one table that are told one by one."""
_RECORDS = {"frames": "frame", "inputs": "poll"}
"""Table -> what one of its rows is."""
_ELSE = {
    "states": "when its buses and boxes came and went",
    "events": "its markers, its log and what the guided walk found",
    "channels": "the names of its buses and boxes",
    "about": "when it began and what it is of",
    "bench": "the bench file in it: give one with --bench",
}
"""Table -> what is in it."""


def damage_notes(damage: Damage, start_ns: int, end_ns: int) -> list[str]:
    """A sentence for each table of which something is missing, and what to do. end_ns: of what can be read."""
    told = []
    if damage.is_log_cut:
        after = moment(end_ns, start_ns)
        told.append(f"The log beside the recording is damaged: what came after {after}, 30 s at most, cannot be read.")
    for table, noun in _RECORDS.items():
        holes = [hole for hole in damage.holes if hole.table == table]
        if holes:
            told.append(_missing(noun, holes, damage.rows[table], start_ns))
    lost = [_ELSE[table] for table in _ELSE if table in damage.tables]
    if lost:
        told.append(f"The recording is damaged: not all can be read of {'; nor of '.join(lost)}.")
    told[-1] += " Nothing is written to the file: keep it, and look for another copy."
    return told


def _missing(noun: str, holes: Sequence[Hole], count: int, start_ns: int) -> str:
    rows = sum(hole.rows for hole in holes)
    what = f"{rows:,} of {counted(count, noun)}" if count else f"no {noun}"
    verb = "cannot be read" if count else "can be read"
    parts = [_span(hole, start_ns) for hole in holes[:SHOWN]]
    more = f" and {counted(len(holes) - SHOWN, 'more time')}" if len(holes) > SHOWN else ""
    where = f"{', '.join(parts)}{more}"
    return f"The recording is damaged: {what} {verb}, {where}; what depends on them is unknown there."


def _span(hole: Hole, start_ns: int) -> str:
    begin = moment(hole.begin_ns, start_ns)
    if hole.end_ns is None:
        return f"from {begin} to the end"
    return f"from {begin} to {moment(hole.end_ns, start_ns)} ({exact(hole.end_ns - hole.begin_ns)})"
