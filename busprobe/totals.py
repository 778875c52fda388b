"""What occurrences come to: counts and the worst of them."""

from __future__ import annotations

from collections.abc import Iterable

from busprobe.results import Occurrence, Outcome


class PartTotals:
    """Of one part of a check: "on" or "off" of `follows`; of any other check there is one, named ""."""

    __slots__ = ("_counts", "first", "longest_ns", "never_came", "worst")

    def __init__(self, first: Occurrence) -> None:
        self._counts: dict[Outcome, int] = {}
        self.first = first
        self.longest_ns = 0
        """The longest latency of any of them."""
        self.never_came = 0
        """How many did not come while `when` lasted."""
        self.worst: Occurrence | None = None
        """The one that came latest after its beginning, in time or not."""

    def copy(self) -> PartTotals:
        other = PartTotals(self.first)
        other._counts, other.longest_ns = self._counts.copy(), self.longest_ns
        other.never_came, other.worst = self.never_came, self.worst
        return other

    def add(self, one: Occurrence) -> None:
        self._counts[one.outcome] = self._counts.get(one.outcome, 0) + 1
        if one.latency_ns is not None:
            self.longest_ns = max(self.longest_ns, one.latency_ns)
        self.never_came += one.never_came
        self.worst = worse(self.worst, one)

    def count(self, outcome: Outcome) -> int:
        return self._counts.get(outcome, 0)


class Totals:
    """Of some occurrences in their order."""

    __slots__ = ("newest", "parts")

    def __init__(self) -> None:
        self.parts: dict[str, PartTotals] = {}
        """In the order in which they are met."""
        self.newest: Occurrence | None = None
        """The one that began last."""

    def copy(self) -> Totals:
        other = Totals()
        other.parts = {name: part.copy() for name, part in self.parts.items()}
        other.newest = self.newest
        return other

    def add(self, more: Iterable[Occurrence]) -> None:
        for one in more:
            part = self.parts.get(one.part)
            if part is None:
                part = self.parts[one.part] = PartTotals(one)
            part.add(one)
            if self.newest is None or one.t_ns > self.newest.t_ns:
                self.newest = one

    def count(self, outcome: Outcome, part: str | None = None) -> int:
        """part: None for all."""
        if part is None:
            return sum(each.count(outcome) for each in self.parts.values())
        return self.parts[part].count(outcome) if part in self.parts else 0


def worse(worst: Occurrence | None, one: Occurrence) -> Occurrence | None:
    """The one that took longer to come; of equals the first."""
    if one.came_ns is None:
        return worst
    return one if worst is None or one.came_ns > (worst.came_ns or 0) else worst
