"""Rows made when they are looked at: of a long list only those in view."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Generic, Protocol, TypeVar, overload

from busprobe.tui.view.spans import Row

MOST_MADE = 2_000
"""So many rows at most stay made."""


class Timed(Protocol):
    @property
    def t_ns(self) -> int: ...


T = TypeVar("T", bound=Timed)
Item = TypeVar("Item")


class LazyRows(Sequence[Row]):
    """A row for each item of any kind; the next list makes its own."""

    def __init__(self, items: Sequence[Item], make: Callable[[Item], Row]) -> None:
        self._make: Callable[[int], Row] = lambda i: make(items[i])
        self._made: list[Row | None] = [None] * len(items)

    def __len__(self) -> int:
        return len(self._made)

    @overload
    def __getitem__(self, i: int) -> Row: ...
    @overload
    def __getitem__(self, i: slice) -> list[Row]: ...
    def __getitem__(self, i: int | slice) -> Row | list[Row]:
        if isinstance(i, slice):
            return [self[k] for k in range(*i.indices(len(self)))]
        row = self._made[i]
        if row is None:
            row = self._made[i] = self._make(i)
        return row


class Picked(Sequence[T]):
    """Some items of a sequence: those at the places given, which may go on growing."""

    def __init__(self, items: Sequence[T], places: Sequence[int], count: int) -> None:
        self._items, self._places, self._count = items, places, count

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, at: int) -> T: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[T]: ...
    def __getitem__(self, at: int | slice) -> T | Sequence[T]:
        if isinstance(at, slice):
            return [self._items[self._places[i]] for i in range(*at.indices(self._count))]
        return self._items[self._places[range(self._count)[at]]]


class RowMaker(Generic[T]):
    """Makes the rows of items that have a time; a row made for an item in the same place is made once.

    A row's key is "t_ns word".
    """

    def __init__(self, word: Callable[[T], str]) -> None:
        self.word = word
        self._made: dict[int, tuple[T, Row]] = {}

    def row(self, place: int, one: T, make: Callable[[T], Row]) -> Row:
        kept = self._made.get(place)
        if kept is not None and kept[0] is one:
            return kept[1]
        if len(self._made) >= MOST_MADE:
            self._made.clear()
        row = make(one)
        self._made[place] = (one, row)
        return row


class TimedRows(Sequence[Row], Generic[T]):
    """A row for each item that has a time; those of items that stay are kept from list to list by the maker."""

    def __init__(self, items: Sequence[T], maker: RowMaker[T], make: Callable[[T], Row]) -> None:
        self._items, self._maker, self._make = items, maker, make

    def __len__(self) -> int:
        return len(self._items)

    @overload
    def __getitem__(self, at: int) -> Row: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[Row]: ...
    def __getitem__(self, at: int | slice) -> Row | Sequence[Row]:
        places = range(len(self._items))[at]
        if isinstance(places, range):
            return [self[place] for place in places]
        return self._maker.row(places, self._items[places], self._make)

    def __iter__(self) -> Iterator[Row]:
        return (self[place] for place in range(len(self._items)))

    def place_of(self, key: str) -> int | None:
        """Where the row of a key is; makes no row."""
        at, _, word = key.partition(" ")
        t_ns = int(at)
        same = (i for i, one in enumerate(self._items) if one.t_ns == t_ns and self._maker.word(one) == word)
        return next(same, None)


def place_of(rows: Sequence[Row], key: str) -> int | None:
    """Where the row of a key is in any list of rows."""
    if isinstance(rows, TimedRows):
        return rows.place_of(key)
    return next((i for i, row in enumerate(rows) if row.key == key), None)
