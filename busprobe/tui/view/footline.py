"""The line below every screen: help, the screens, and the few keys that fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from busprobe.tui.view.spans import Span, Tone, width_of


class Item(NamedTuple):
    """A key in the footer."""

    key: str
    words: str
    action: str
    here: bool = False
    """The screen that is shown."""


class Place(NamedTuple):
    """Where an item came to stand, for the mouse."""

    start: int
    end: int
    action: str


def footline(keys: Sequence[Item], screens: Sequence[Item], width: int) -> tuple[list[Span], list[Place]]:
    """Spans and places. Screens' words go first where the width does not do, then keys from the right."""
    for shown, named in ((len(keys), True), (3, True), (len(keys), False), (3, False), (1, False)):
        items = [*keys[:1], *screens, *keys[1:shown]]
        spans, places = _line(items, named={item.action for item in screens} if not named else set())
        if width_of(spans) <= width:
            return spans, places
    return spans, places


def _line(items: Sequence[Item], named: set[str]) -> tuple[list[Span], list[Place]]:
    spans: list[Span] = []
    places: list[Place] = []
    at = 0
    for item in items:
        bare = item.action in named
        words = "" if bare and not item.here else f" {item.words}"
        mark = "▸" if item.here else " "
        part = [Span(mark, Tone.NOTE), Span(item.key, Tone.KEY), Span(words, Tone.STRONG if item.here else Tone.PLAIN)]
        part.append(Span("" if bare and not item.here else " "))
        spans += part
        start, at = at, at + width_of(part)
        places.append(Place(start, at, item.action))
    return spans, places
