"""Rows of the Frames screen: one an identifier, built only where they are looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np

from busprobe.errors import counted
from busprobe.frames import Int64Array
from busprobe.session.snapshot import FrameTable
from busprobe.timeline import NEVER
from busprobe.tui.view.rhythm import rhythm
from busprobe.tui.view.spans import Cell, Column, Row, Span, Tone, cell, matches
from busprobe.tui.view.times import SECOND
from busprobe.tui.view.values import calm_age

ORDERS = ("first heard", "identifier", "count", "period", "share", "newest change")
"""What rows are ordered by; a key goes from one to the next."""

NOW_NS = 100_000_000
"""A change no longer ago than this is one of now."""
MOST_TEXTS = 4_000
"""Payload texts kept; then all are forgotten."""

_MARK = "▸"
"""Before a byte that changed lately."""
_HEX = tuple(f"{value:02X}" for value in range(256))
_BITS = "01▯▮"
"""A bit: 0 and 1 as they were, 0 and 1 changed lately."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person asked to see."""

    words: str = ""
    """Only rows with all these words in identifier, message or channel."""
    order: str = ORDERS[0]
    bits: bool = False
    """The payload as bits, not as bytes."""


def next_order(order: str) -> str:
    return ORDERS[(ORDERS.index(order) + 1) % len(ORDERS)]


def columns(wanted: Wanted, *, several_channels: bool) -> tuple[Column, ...]:
    """Columns of the list; those of the highest `drop` give way in a narrow terminal."""
    payload = Column("Payload, a bit each", 71, grow=1) if wanted.bits else Column("Payload", 24, grow=1)
    return (
        Column("Identifier", 14 if several_channels else 10),
        Column("Count", 9, "right", drop=3 if wanted.bits else 0),
        Column("Period", 9, "right"),
        Column("± ms", 6, "right", drop=2),
        payload,
        Column("Message", 9, grow=2, drop=5 if wanted.bits else 0),
        Column("Share", 5, "right", drop=1),
        Column("Changed", 10, "right", drop=6),
    )


def key_of(table: FrameTable, i: int) -> str:
    """Names one row of the table, and says it to a person: "body 1A0", "body 18FEF100x"."""
    return f"{table.channels[table.channel[i]]} {hex_of(table, i)}"


def hex_of(table: FrameTable, i: int) -> str:
    """Identifier in hex; an "x" behind one of 29 bits."""
    if table.is_extended[i]:
        return f"{table.identifier[i]:08X}x"
    return f"{table.identifier[i]:03X}"


def shown(table: FrameTable, wanted: Wanted, t_ns: int) -> Int64Array:
    """Indexes of the rows to show, in their order."""
    rows = np.arange(len(table))
    if wanted.words.strip():
        kept = [i for i in range(len(table)) if matches(wanted.words, key_of(table, i), table.message[i])]
        rows = np.array(kept, np.int64)
    return rows[np.lexsort(_sort_keys(table, wanted.order, t_ns, rows))]


def _sort_keys(
    table: FrameTable, order: str, t_ns: int, rows: Int64Array
) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.float64 | np.int64]], ...]:
    """Keys for `lexsort`, the last one first in weight; equal rows stay in order of identifier."""
    by_identifier = (table.identifier[rows].astype(np.int64), table.channel[rows].astype(np.int64))
    match order:
        case "identifier":
            return (by_identifier[1], by_identifier[0])
        case "count":
            return (*by_identifier, -table.count[rows])
        case "period":
            period = table.period_ns[rows]
            # Whole milliseconds: rows must not swap places with every picture.
            return (*by_identifier, np.where(period > 0, period // 1_000_000, np.iinfo(np.int64).max))
        case "share":
            return (*by_identifier, -np.round(table.share[rows], 3))
        case "newest change":
            at = table.changed_ns[rows]
            # Whole seconds: rows must not swap places with every picture.
            ago = np.maximum(t_ns - np.where(at > NEVER, at, t_ns), 0) // SECOND
            return (*by_identifier, np.where(at > NEVER, ago, np.iinfo(np.int64).max))
    return (rows,)


class PayloadTexts:
    """Cells of payloads, kept by content: most payloads of a bus come again and again."""

    def __init__(self) -> None:
        self._kept: dict[tuple[bytes, bytes, bool], Cell] = {}

    def cell(self, payload: bytes, changed: bytes, *, bits: bool) -> Cell:
        key = (payload, changed, bits)
        text = self._kept.get(key)
        if text is None:
            if len(self._kept) >= MOST_TEXTS:
                self._kept.clear()
            text = self._kept[key] = bits_cell(payload, changed) if bits else bytes_cell(payload, changed)
        return text


def bytes_cell(payload: bytes, changed: bytes) -> Cell:
    """Bytes in hex, a mark before each that changed lately, its changed half bytes in another tone."""
    if not payload:
        return cell("(empty)", Tone.DIM)
    out: list[Span] = []
    quiet = ""
    for value, moved in zip(payload, changed, strict=True):
        digits = _HEX[value]
        if not moved:
            quiet += " " + digits
            continue
        if quiet:
            out.append(Span(quiet))
        if not moved & 15:
            out.append(Span(_MARK + digits[0], Tone.NOTE))
            quiet = digits[1]
            continue
        if moved >> 4:
            out.append(Span(_MARK + digits, Tone.NOTE))
        else:
            out += (Span(_MARK, Tone.NOTE), Span(digits[0]), Span(digits[1], Tone.NOTE))
        quiet = ""
    if quiet:
        out.append(Span(quiet))
    return tuple(out)


def bits_cell(payload: bytes, changed: bytes) -> Cell:
    """Bits, bit 7 of each byte first; those that changed lately as boxes, full for 1."""
    out: list[Span] = []
    for value, moved in zip(payload, changed, strict=True):
        text = "".join(_BITS[(value >> b & 1) + 2 * (moved >> b & 1)] for b in range(7, -1, -1))
        out.append(Span(text + " ", Tone.NOTE if moved else Tone.PLAIN))
    return tuple(out) or cell("(empty)", Tone.DIM)


class FrameRows(Sequence[Row]):
    """The rows of one picture; each is made when it is first asked for."""

    def __init__(
        self,
        table: FrameTable,
        indexes: Int64Array,
        t_ns: int,
        texts: PayloadTexts,
        *,
        bits: bool = False,
    ) -> None:
        self.table = table
        self.indexes = indexes
        self._t_ns = t_ns
        self._texts = texts
        self._bits = bits
        self._made: dict[int, Row] = {}

    def __len__(self) -> int:
        return len(self.indexes)

    @overload
    def __getitem__(self, place: int) -> Row: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[Row]: ...
    def __getitem__(self, place: int | slice) -> Row | Sequence[Row]:
        if isinstance(place, slice):
            return [self[i] for i in range(*place.indices(len(self)))]
        row = self._made.get(place)
        if row is None:
            row = self._made[place] = self._make(int(self.indexes[place]))
        return row

    def payload(self, i: int) -> tuple[bytes, bytes]:
        """Newest payload of a row of the table, and its bits that changed lately."""
        length = int(self.table.length[i])
        return self.table.words[i].tobytes()[:length], self.table.changed[i].tobytes()[:length]

    def _make(self, i: int) -> Row:
        table = self.table
        key = key_of(table, i)
        name = key if len(table.channels) > 1 else hex_of(table, i)
        payload, changed = self.payload(i)
        message = table.message[i]
        cells = (
            cell(name, Tone.STRONG),
            cell(f"{table.count[i]:,}"),
            *rhythm(table, i, self._t_ns)[:2],
            self._texts.cell(payload, changed, bits=self._bits),
            cell(message) if message else cell("not in a database", Tone.DIM),
            cell(f"{table.share[i]:.1%}"),
            _changed(int(table.changed_ns[i]), self._t_ns),
        )
        return Row(key, cells)

    def as_text(self, place: int) -> str:
        """A row as a sentence, for copying."""
        table, i = self.table, int(self.indexes[place])
        payload, _ = self.payload(i)
        name = f"{key_of(table, i)} {table.message[i]}".rstrip()
        told = rhythm(table, i, self._t_ns).told
        return f"{name} {payload.hex(' ').upper() or '(empty)'}, count {table.count[i]:,}, {told}"


def _changed(changed_ns: int, t_ns: int) -> Cell:
    """How long ago the payload changed; "-" where it always was the same."""
    if changed_ns == NEVER:
        return cell("-", Tone.DIM)
    ago = max(t_ns - changed_ns, 0)
    if ago < NOW_NS:
        return cell("now", Tone.NOTE)
    return cell(f"{calm_age(ago)} ago" if ago >= SECOND else "just now", Tone.DIM)


def reached(table: FrameTable, t_ns: int) -> list[int]:
    """Places of the identifiers that have a frame at exactly this time."""
    return np.flatnonzero(table.last_ns == t_ns).tolist()


def reached_keys(table: FrameTable, t_ns: int) -> list[str]:
    """Keys of the rows of those identifiers."""
    return [key_of(table, i) for i in reached(table, t_ns)]


def reached_text(table: FrameTable, t_ns: int) -> str:
    """The frame at a time: "0E4 TransmissionStatus", "0E4 TransmissionStatus and 2 more"; empty: there is none."""
    found = reached(table, t_ns)
    if not found:
        return ""
    i = found[0]
    name = key_of(table, i) if len(table.channels) > 1 else hex_of(table, i)
    more = f" and {len(found) - 1} more" if len(found) > 1 else ""
    return f"{name} {table.message[i]}".rstrip() + more


def none_text(table: FrameTable, *, is_replay: bool) -> str:
    """Instead of frames where there are none to show."""
    if len(table):
        return "No frame has these words."
    return "No frame up to this instant." if is_replay else "No frame heard yet: see the sources on screen 5."


def title(table: FrameTable, count: int, wanted: Wanted, *, held: bool) -> str:
    """What the list says over its edge: how many, the filter, the order, whether it stands still."""
    total = counted(len(table), "identifier")
    parts = [f"{count} of {total}" if wanted.words.strip() else total]
    if wanted.words.strip():
        parts.append(f'with "{wanted.words.strip()}"')
    parts.append(f"s: by {wanted.order}")
    if held:
        parts.append("HELD, counting goes on")
    return " · ".join(parts)
