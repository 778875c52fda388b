"""Rows of the help screen, from the bindings that are alive."""

from __future__ import annotations

from collections.abc import Iterable

from textual.binding import Binding

from busprobe.tui.keys import KEYS, PLACES, key_text
from busprobe.tui.view.spans import Row, Tone, cell

_ORDER = {key.id: (list(PLACES).index(key.where), number) for number, key in enumerate(KEYS)}
_WHERE = {key.id: PLACES[key.where] for key in KEYS}


def help_rows(alive: Iterable[Binding]) -> list[Row]:
    """One row an action, keys of the screen first, keys of everywhere last; bindings without id are Textual's own."""
    keys: dict[str, list[str]] = {}
    words: dict[str, str] = {}
    for binding in alive:
        if binding.id is not None:
            keys.setdefault(binding.id, []).append(key_text(binding.key))
            words[binding.id] = binding.tooltip or binding.description
    return [
        Row(
            name,
            (
                cell(" ".join(keys[name]), Tone.KEY),
                cell(words[name]),
                cell(_WHERE.get(name, PLACES["everywhere"]), Tone.DIM),
            ),
        )
        for name in sorted(keys, key=_place)
    ]


def _place(name: str) -> tuple[int, int]:
    where, number = _ORDER.get(name, (0, 0))
    return (-where, number)
