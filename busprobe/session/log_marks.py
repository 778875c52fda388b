"""Marks of the replay bar that come from the log and from gaps: of very many the least grave are left out."""

from __future__ import annotations

from dataclasses import dataclass, field

from busprobe.report.quantities import counted, moment
from busprobe.session.snapshot import Mark

MOST_MARKS = 20_000
KINDS = {
    "marker": "button marker",
    "failed": "failed occurrence",
    "gap": "gap",
    "undecided": "undecided occurrence",
    "trigger": "trigger",
}
"""Kinds of marks, the gravest first, and what one of each is."""


@dataclass
class _Kind:
    kept: list[Mark] = field(default_factory=list)
    count: int = 0
    """How many there were."""


class LogMarks:
    """Keeps the first `MOST_MARKS` of each kind, and shows so many of all: first the gravest kinds."""

    def __init__(self) -> None:
        self._kinds = {kind: _Kind() for kind in KINDS}

    def add(self, mark: Mark) -> None:
        kind = self._kinds[mark.kind]
        kind.count += 1
        if len(kind.kept) < MOST_MARKS:
            kind.kept.append(mark)

    def shown(self) -> list[Mark]:
        """Those for the bar, kind by kind."""
        return [mark for _, marks in self._shares() for mark in marks]

    def notes(self, start_ns: int) -> list[str]:
        """A sentence for each kind of which marks are left out."""
        return [
            f"{_without(self._kinds[kind].count - len(marks), kind)} on the bar of time"
            + (f": the last one shown is at {moment(max(m.t_ns for m in marks), start_ns)}." if marks else ".")
            for kind, marks in self._shares()
            if len(marks) < self._kinds[kind].count
        ]

    def _shares(self) -> list[tuple[str, list[Mark]]]:
        room, found = MOST_MARKS, []
        for kind, has in self._kinds.items():
            found.append((kind, has.kept[:room]))
            room -= len(found[-1][1])
        return found


def _without(number: int, kind: str) -> str:
    return f"{counted(number, KINDS[kind])} {'has' if number == 1 else 'have'} no mark"
