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
    """Spans and places. Where the width does not do, all keys but three go, then words; the first key keeps its own."""
    spans: list[Span] = []
    places: list[Place] = []
    for shown, bare in (
        (len(keys), ()),
        (3, ()),
        (3, keys[1:]),
        (3, screens),
        (3, (*screens, *keys[1:])),
    ):
        items = [*keys[:1], *screens, *keys[1:shown]]
        spans, places = _line(items, {item.action for item in bare})
        if width_of(spans) <= width:
            break
    return spans, places


def _line(items: Sequence[Item], bare: set[str]) -> tuple[list[Span], list[Place]]:
    spans: list[Span] = []
    places: list[Place] = []
    at = 0
    for item in items:
        words = " " if item.action in bare else f" {item.words} "
        part = (
            Span("▸" if item.here else " ", Tone.NOTE),
            Span(item.key, Tone.KEY),
            Span(words, Tone.STRONG if item.here else Tone.PLAIN),
        )
        spans += part
        start, at = at, at + width_of(part)
        places.append(Place(start, at, item.action))
    return spans, places
