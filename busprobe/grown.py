"""Sequences that only grow: what was there before is shared, not copied and not looked at again.

After a day a flashing lamp has put its check to the test a hundred thousand times. A picture of
that must cost no more than one of the first minute.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice
from typing import Any, Generic, Protocol, TypeVar, overload

from busprobe.results import Occurrence
from busprobe.totals import Totals

STEP = 32
"""The totals of occurrences are kept after every so many."""


class Decided(Protocol):
    @property
    def decided_ns(self) -> int: ...
    @property
    def t_ns(self) -> int: ...


T_co = TypeVar("T_co", covariant=True)
D = TypeVar("D", bound=Decided)


def order(one: Decided) -> tuple[int, int]:
    """The order in which results stand."""
    return one.decided_ns, one.t_ns


class Grown(Sequence[T_co]):
    """The first items of a list that only grows, and some after them; itself it never changes.

    items, firm: the list and how many of it; a list is never changed but at its end. rest: those
    that may look otherwise in the next one.
    """

    __slots__ = ("_items", "_rest", "firm")

    def __init__(self, items: list[T_co], firm: int, rest: tuple[T_co, ...] = ()) -> None:
        self._items = items
        self._rest = rest
        self.firm = firm

    def __len__(self) -> int:
        return self.firm + len(self._rest)

    @overload
    def __getitem__(self, at: int) -> T_co: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[T_co]: ...
    def __getitem__(self, at: int | slice) -> T_co | Sequence[T_co]:
        """Of a slice from the beginning the same kind, at no cost; of any other a list."""
        if isinstance(at, slice):
            start, stop, step = at.indices(len(self))
            if step != 1:
                return [self[i] for i in range(start, stop, step)]
            if start == 0:
                return self._first(stop)
            rest = self._rest[max(start - self.firm, 0) : max(stop - self.firm, 0)]
            return [*self._items[start : min(stop, self.firm)], *rest]
        place = at + len(self) if at < 0 else at
        if not 0 <= place < len(self):
            raise IndexError(at)
        return self._items[place] if place < self.firm else self._rest[place - self.firm]

    def _first(self, count: int) -> Grown[T_co]:
        return Grown(self._items, min(count, self.firm), self._rest[: max(count - self.firm, 0)])

    def __iter__(self) -> Iterator[T_co]:
        return chain(islice(self._items, self.firm), self._rest)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Grown | tuple | list):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]  # as a list

    def __repr__(self) -> str:
        return repr(list(self))

    def shared_with(self, other: Sequence[Any]) -> int:
        """How many of the first items are those of another, as far as that is known without a look at each."""
        return min(self.firm, other.firm) if isinstance(other, Grown) and other._items is self._items else 0


class Occurrences(Grown[Occurrence]):
    """Occurrences whose totals cost no look at them all. kept: totals of the first 0, STEP, 2 STEP … of the list."""

    __slots__ = ("_kept", "_totals")

    def __init__(
        self, items: list[Occurrence], firm: int, rest: tuple[Occurrence, ...], kept: Sequence[Totals]
    ) -> None:
        super().__init__(items, firm, rest)
        self._kept = kept
        self._totals: Totals | None = None

    def _first(self, count: int) -> Occurrences:
        first = super()._first(count)
        return Occurrences(first._items, first.firm, first._rest, self._kept)

    @property
    def totals(self) -> Totals:
        if self._totals is None:
            before = self.firm // STEP
            totals = self._kept[before].copy()
            totals.add(self[before * STEP :])
            self._totals = totals
        return self._totals


def totals_of(occurrences: Sequence[Occurrence]) -> Totals:
    """The totals of some occurrences; do not change them."""
    if isinstance(occurrences, Occurrences):
        return occurrences.totals
    totals = Totals()
    totals.add(occurrences)
    return totals


class Growing(Generic[D]):
    """Takes results in the order of (decided_ns, t_ns), and gives out what is there so far."""

    def __init__(self) -> None:
        self._items: list[D] = []
        self._begun = 0

    @property
    def version(self) -> tuple[int, int]:
        """Another one whenever something has been added."""
        return self._begun, len(self._items)

    def add(self, more: Iterable[D]) -> None:
        """Results in order. They come after those that are there, but where the stamps have stepped back."""
        more = list(more)
        if more and self._items and order(more[0]) < order(self._items[-1]):
            # Another list: what was given out stays as it is.
            together, self._items = sorted([*self._items, *more], key=order), []
            self._begun += 1
            self._begin()
            more = together
        for one in more:
            self._append(one)

    def _begin(self) -> None:
        """The list begins anew."""

    def _append(self, one: D) -> None:
        self._items.append(one)

    def so_far(self, rest: Sequence[D]) -> Grown[D]:
        """What is there, and a rest in order that may still change."""
        if rest and self._items and order(rest[0]) < order(self._items[-1]):
            together = sorted([*self._items, *rest], key=order)
            return Grown(together, 0, tuple(together))
        return Grown(self._items, len(self._items), tuple(rest))


class GrowingOccurrences(Growing[Occurrence]):
    """The same of occurrences, with their totals."""

    def __init__(self) -> None:
        super().__init__()
        self._begin()

    def _begin(self) -> None:
        self._totals = Totals()
        self._kept = [Totals()]

    def _append(self, one: Occurrence) -> None:
        super()._append(one)
        self._totals.add((one,))
        if len(self._items) % STEP == 0:
            self._kept.append(self._totals.copy())

    def so_far(self, rest: Sequence[Occurrence]) -> Occurrences:
        grown = super().so_far(rest)
        return Occurrences(grown._items, grown.firm, grown._rest, self._kept)
