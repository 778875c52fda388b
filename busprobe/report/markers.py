"""Markers as a section of a report: the notes that somebody set in a recording."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.report.quantities import moment
from busprobe.report.table import Column, heading, table
from busprobe.results import Marker

_COLUMNS = (Column("time", right=True), Column("note", wrap=80))


def marker_lines(markers: Sequence[Marker], start_ns: int) -> list[str]:
    """A section; empty where there is none. markers: in order of time."""
    if not markers:
        return []
    return [*heading("Markers"), *table(_COLUMNS, [(moment(one.t_ns, start_ns), one.note) for one in markers])]
