"""Every PID of OBD service 01 and 02 that is known: its quantities, its length, its values.

    41  0C 1A F8  0D 3C  42 33 90       three PIDs in one answer: 1726 rpm, 60 km/h, 13.2 V

An answer names each PID and its data follow without a length, so it can be taken apart only by
the table of lengths. The data are in `pids_numeric` and `pids_bits`.
"""

from __future__ import annotations

from functools import cache, lru_cache
from types import MappingProxyType
from typing import Final, NamedTuple

from busprobe.decode.pids_bits import BITS, LENGTHS_TOO, UNDECODED, BitRow
from busprobe.decode.pids_numeric import NUMERIC, NumericRow
from busprobe.decode.quantity import PLAIN, Quantity, Value


def _name(pid: int, part: str) -> str:
    return f"{pid:02X}.{part}" if part else f"{pid:02X}"


def _numeric(row: NumericRow) -> Quantity:
    pid, length, part, title, place, scale, bit = row
    return Quantity(_name(pid, part), title, pid, length, ord(place[0]) - 65, len(place), scale, support_bit=bit)


def _bits(row: BitRow) -> Quantity:
    return Quantity(
        _name(row.pid, row.part), row.title, row.pid, row.length, ord(row.bytes[0]) - 65, len(row.bytes), PLAIN,
        row.shift, row.bits, row.meaning, row.labels, row.is_condition, row.support_bit,
    )  # fmt: skip


def _bytes_only(pid: int, title: str, length: int) -> Quantity:
    return Quantity(_name(pid, ""), title, pid, length, 0, length, meaning=lambda raw: f"{raw:0{2 * length}X}")


def _build() -> dict[int, tuple[Quantity, ...]]:
    table: dict[int, tuple[Quantity, ...]] = {}
    for quantity in (*map(_bits, BITS), *map(_numeric, NUMERIC)):
        table[quantity.pid] = (*table.get(quantity.pid, ()), quantity)
    return table


QUANTITIES: Final = MappingProxyType(_build())
"""PID -> its quantities."""
_BYTES_ONLY: Final = MappingProxyType(
    {(pid, length): _bytes_only(pid, title, length) for pid, (known, title) in UNDECODED.items() for length in known}
)
"""(PID, number of its data bytes) -> all of them as one quantity."""
_BY_NAME: Final = MappingProxyType({q.name: q for group in QUANTITIES.values() for q in group})


def quantities(pid: int) -> tuple[Quantity, ...]:
    """The quantities of a PID, empty where it is unknown or shown as bytes only."""
    return QUANTITIES.get(pid, ())


def find(name: str) -> Quantity | None:
    """The quantity that a bench file names after `obd.`: "0D", "14.voltage", "01.mil"."""
    pid, dot, part = name.partition(".")
    return _BY_NAME.get(pid.upper() + dot + part)


@cache
def lengths(pid: int) -> tuple[int, ...]:
    """Numbers of data bytes that a PID may have, the usual one first; empty where unknown."""
    if pid in UNDECODED:
        return UNDECODED[pid][0]
    if pid not in QUANTITIES:
        return ()
    usual = QUANTITIES[pid][0].length
    return (usual, LENGTHS_TOO[pid]) if pid in LENGTHS_TOO else (usual,)


def decode_pid(pid: int, data: bytes) -> list[tuple[Quantity, int, Value]]:
    """(quantity, raw, value) of all that the data bytes of one PID say and the unit supports.

    data: as many bytes as `lengths(pid)` allows.
    """
    found = []
    for quantity in (_BYTES_ONLY[pid, len(data)],) if pid in UNDECODED else QUANTITIES[pid]:
        raw = quantity.raw(data)
        if raw is not None:
            found.append((quantity, raw, quantity.value(raw)))
    return found


class Split(NamedTuple):
    """An answer taken apart."""

    items: list[tuple[int, int, bytes]]
    """(PID, freeze frame number or 0, data bytes)"""
    unknown: int | None
    """The PID at which it had to stop, because its length is unknown."""
    cut: bool
    """The last PID has fewer bytes than it should have."""


def split_answer(body: bytes, head: int = 1) -> Split:
    """Take an answer apart, after its service byte.

    head: bytes before the data of each PID: 1 (the PID), or 2 in service 02 (and the frame number).
    Where a PID may have several lengths, those are taken that use up the whole answer.
    """
    if body and len(body) - head in lengths(body[0]):
        return Split([_item(body, 0, head, len(body))], None, False)
    whole = _split_whole(body, head, 0)
    if whole is not None:
        return Split(whole, None, False)
    items: list[tuple[int, int, bytes]] = []
    place = 0
    while place < len(body):
        known = lengths(body[place])
        if not known:
            return Split(items, body[place], False)
        end = place + head + known[0]
        if end > len(body):
            return Split(items, None, True)
        items.append(_item(body, place, head, end))
        place = end
    return Split(items, None, False)


class Contents(NamedTuple):
    """What an answer of several PIDs says."""

    readings: tuple[tuple[int, Quantity, int, Value], ...]
    """(freeze frame number or 0, quantity, raw, value)"""
    unknown: int | None
    cut: bool


@lru_cache(maxsize=4096)
def decode_answer(body: bytes, head: int = 1) -> Contents:
    """What an answer says after its service byte; `head` as in `split_answer`.

    Kept for the newest answers, because a vehicle that is asked often says the same often.
    """
    split = split_answer(body, head)
    readings = tuple((frame, *reading) for pid, frame, data in split.items for reading in decode_pid(pid, data))
    return Contents(readings, split.unknown, split.cut)


def _split_whole(body: bytes, head: int, place: int) -> list[tuple[int, int, bytes]] | None:
    if place == len(body):
        return []
    for length in lengths(body[place]):
        end = place + head + length
        rest = _split_whole(body, head, end) if end <= len(body) else None
        if rest is not None:
            return [_item(body, place, head, end), *rest]
    return None


def _item(body: bytes, place: int, head: int, end: int) -> tuple[int, int, bytes]:
    return body[place], body[place + 1] if head == 2 else 0, body[place + head : end]
