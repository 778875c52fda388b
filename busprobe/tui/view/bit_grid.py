"""The bits of a payload as a grid, a line a byte, bit 7 on the left, with signals drawn in it.

              7   6   5   4   3   2   1   0
     0  4F    0   1   0   0  ▐1a━━1a━━1a━━1a▌
     1  80    1b  0   0   0   0   0   0   0

Cells of one signal that follow one another from its most significant bit down are joined.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from busprobe.tui.view.spans import Line, Span, Tone

LABELS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""Letters of signals in the order drawn; "*" for more."""

_JOIN, _LEFT, _RIGHT = "━", "▐", "▌"


class Drawn(NamedTuple):
    """One signal in the grid."""

    bits: tuple[int, ...]
    """DBC bit numbers (byte * 8 + bit), most significant first."""
    label: str = ""
    """A letter behind each of its bits; empty: none."""
    tone: Tone = Tone.PLAIN


class _Cell(NamedTuple):
    label: str
    tone: Tone
    is_joined: bool
    """To the cell on its right."""


def label_of(index: int) -> str:
    return LABELS[index] if index < len(LABELS) else "*"


def grid(
    payload: bytes,
    drawn: Sequence[Drawn],
    changed: bytes = b"",
    *,
    pitch: int = 4,
    notes: Mapping[int, str] | None = None,
) -> list[Line]:
    """Lines of the grid, the heading first.

    changed: bits that changed lately; shorter than the payload where the rest did not.
    pitch: columns from bit to bit, 4 or more. notes: byte number -> words at the end of its line.
    """
    cells = _cells(tuple(drawn))
    heading = " " * 8 + "".join(f" {bit}".ljust(pitch) for bit in range(7, -1, -1))
    lines: list[Line] = [(Span(heading, Tone.HEAD),)]
    for place, value in enumerate(payload):
        moved = changed[place] if place < len(changed) else 0
        line = _byte_line(place, value, moved, cells.get(place, _BARE), pitch)
        lines.append((*line, Span(notes[place], Tone.DIM)) if notes and place in notes else line)
    return lines


_Cells = tuple[_Cell | None, ...]
"""Of one byte, bit 0 first."""
_BARE: _Cells = (None,) * 8


@lru_cache(maxsize=256)
def _cells(drawn: tuple[Drawn, ...]) -> Mapping[int, _Cells]:
    """By byte that has any."""
    cells: dict[int, list[_Cell | None]] = {}
    for signal in drawn:
        for bit, after in zip(signal.bits, (*signal.bits[1:], -1), strict=True):
            row = cells.setdefault(bit // 8, list(_BARE))
            row[bit % 8] = _Cell(signal.label, signal.tone, after == bit - 1 and bit % 8 > 0)
    return {place: tuple(row) for place, row in cells.items()}


@lru_cache(maxsize=4096)
def _byte_line(place: int, value: int, moved: int, cells: _Cells, pitch: int) -> Line:
    """Most bytes are what they were in the picture before."""
    line = [Span(f"{place:>3} ", Tone.HEAD), Span(f"{value:02X}  ", Tone.NOTE if moved else Tone.PLAIN)]
    was_joined = False
    for bit in range(7, -1, -1):
        cell = cells[bit]
        digit = f"{value >> bit & 1}"
        if cell is None:
            line.append(Span(" "))
            line.append(Span(digit, Tone.NOTE if moved >> bit & 1 else Tone.DIM))
            line.append(Span(" " * (pitch - 2)))
            continue
        line.append(Span(_JOIN if was_joined else _LEFT, cell.tone))
        line.append(Span(digit, Tone.NOTE if moved >> bit & 1 else cell.tone))
        rest = cell.label.ljust(pitch - 2, _JOIN) if cell.is_joined else (cell.label + _RIGHT).ljust(pitch - 2)
        line.append(Span(rest, cell.tone))
        was_joined = cell.is_joined
    return tuple(_merged(line))


def _merged(spans: Sequence[Span]) -> list[Span]:
    """Neighbours of one tone as one span."""
    out: list[Span] = []
    for span in spans:
        if out and out[-1].tone is span.tone:
            out[-1] = Span(out[-1].text + span.text, span.tone)
        else:
            out.append(span)
    return out


def part_notes(bits: Sequence[int], *, is_short: bool = False) -> dict[int, str]:
    """For a signal of several bytes: which line holds its upper and which its lower end. is_short: in 10 cells."""
    places = list(dict.fromkeys(bit // 8 for bit in bits))
    if len(places) < 2:
        return {}
    of, comma = ("", "") if is_short else (f" of {len(places)}", ",")
    words = {place: f" {i}{of}" for i, place in enumerate(places, 1)}
    words[places[0]] += f"{comma} highest"
    words[places[-1]] += f"{comma} lowest"
    return words


def raw_of(payload: bytes, bits: Sequence[int]) -> int | None:
    """Bits, most significant first, as an unsigned number; None where the payload is too short."""
    raw = 0
    for bit in bits:
        if bit // 8 >= len(payload):
            return None
        raw = raw << 1 | payload[bit // 8] >> bit % 8 & 1
    return raw
