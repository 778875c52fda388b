"""Rows of the help screen, from the bindings that are alive."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import wrap

from textual.binding import Binding

from busprobe.tui.keys import KEYS, PLACES, key_text
from busprobe.tui.view.spans import EMPTY, Column, Row, Tone, cell, share

HELP_COLUMNS = (Column("Key", 9), Column("What it does", 20, grow=1), Column("Where", 15, drop=1, minor=True))
MOUSE = ("Shift", "Held down with the mouse it selects text (on macOS Option).")
"""What no binding tells."""

_ORDER = {key.id: (list(PLACES).index(key.where), number) for number, key in enumerate(KEYS)}
_WHERE = {key.id: PLACES[key.where] for key in KEYS}


def text_width(width: int) -> int:
    """What a list of `width` leaves for a sentence; 0 where it has no room for any."""
    return dict(share(HELP_COLUMNS, width - 2)).get(1, 0)


def help_rows(alive: Iterable[Binding], width: int) -> list[Row]:
    """Keys of the screen first, keys of everywhere last; bindings without id are Textual's own.

    width: of a sentence; a longer one goes on in more rows.
    """
    keys: dict[str, list[str]] = {}
    words: dict[str, str] = {}
    for binding in alive:
        if binding.id is not None:
            keys.setdefault(binding.id, []).append(key_text(binding.key))
            words[binding.id] = binding.tooltip or binding.description
    told = [(name, " ".join(keys[name]), words[name]) for name in sorted(keys, key=_place)]
    return [row for name, key, text in (*told, ("mouse", *MOUSE)) for row in _rows(name, key, text, width)]


def _rows(name: str, key: str, text: str, width: int) -> list[Row]:
    first, *rest = wrap(text, max(width, 10))
    where = cell(_WHERE.get(name, PLACES["everywhere"]), Tone.DIM)
    more = [Row(f"{name} {part}", (EMPTY, cell(line), EMPTY)) for part, line in enumerate(rest, 2)]
    return [Row(name, (cell(key, Tone.KEY), cell(first), where)), *more]


def _place(name: str) -> tuple[int, int]:
    where, number = _ORDER.get(name, (0, 0))
    return (-where, number)
