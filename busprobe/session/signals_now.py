"""The signals of a picture, made when one is first looked at: most screens look at none.

They say what is known of the picture's instant then. Logic may still be deciding on the last moments
before it (a debounce, a bus that fell silent): a later look tells more of them, never less.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import overload

from busprobe.session.snapshot import SignalNow


class SignalsNow(Sequence[SignalNow]):
    """`make` is called once, by the thread that shows the picture."""

    def __init__(self, make: Callable[[], list[SignalNow]]) -> None:
        self._make = make

    @cached_property
    def _made(self) -> list[SignalNow]:
        return self._make()

    def __len__(self) -> int:
        return len(self._made)

    @overload
    def __getitem__(self, place: int) -> SignalNow: ...
    @overload
    def __getitem__(self, place: slice) -> list[SignalNow]: ...
    def __getitem__(self, place: int | slice) -> SignalNow | list[SignalNow]:
        return self._made[place]
