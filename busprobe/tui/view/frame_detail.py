"""One message in detail: its bits as a grid, its signals as a list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from busprobe.session.snapshot import BitField, FrameDetail, SignalNow
from busprobe.tui.view.bit_grid import Drawn, grid, label_of, raw_of
from busprobe.tui.view.spans import Column, Line, Row, Span, Tone, cell

VALUE_COLUMNS = (
    Column("Bits", 4),
    Column("Signal", 10, grow=2),
    Column("Value", 9, grow=2),
    Column("Raw", 6, "right", drop=1),
    Column("Where", 14, grow=1, drop=2),
)

BITS_ONLY = "held: see its bits"
"""Value of a signal whose bits have changed since the picture."""


def held(detail: FrameDetail, payload: bytes, changed: bytes) -> FrameDetail:
    """The detail with an older payload, that of a picture which stands still.

    Values are told of signals whose bits are the same in both; of others the bits alone.
    """
    if payload == detail.payload:
        return detail if changed == detail.changed else replace(detail, changed=changed)
    fields = tuple(_earlier(field, detail.payload, payload) for field in detail.fields)
    return replace(detail, payload=payload, changed=changed, fields=fields)


def _earlier(field: BitField, payload: bytes, earlier: bytes) -> BitField:
    bits = raw_of(earlier, field.bits)
    if field.raw is None or bits is None:
        return replace(field, raw=None, text="-")
    return field if bits == raw_of(payload, field.bits) else replace(field, raw=None, text=BITS_ONLY)


def _is_here(field: BitField) -> bool:
    return field.raw is not None or field.text == BITS_ONLY


def grid_lines(detail: FrameDetail | None) -> list[Line]:
    """The grid of the newest payload, every signal in it with a letter."""
    if detail is None:
        return [(Span("Move to an identifier above to see its bits.", Tone.DIM),)]
    if not detail.payload:
        return [(Span("No payload.", Tone.DIM),)]
    drawn = [Drawn(f.bits, label_of(i)) for i, f in enumerate(detail.fields) if _is_here(f)]
    return grid(detail.payload, drawn, detail.changed)


def value_rows(detail: FrameDetail | None) -> list[Row]:
    """A row a signal, in the order of the database."""
    if detail is None:
        return []
    return [_value_row(detail, i, field) for i, field in enumerate(detail.fields)]


def _value_row(detail: FrameDetail, i: int, field: BitField) -> Row:
    moved = any(b // 8 < len(detail.changed) and detail.changed[b // 8] >> b % 8 & 1 for b in field.bits)
    here = _is_here(field)
    tone = Tone.NOTE if moved and here else Tone.PLAIN if here else Tone.DIM
    said = field.text if here else "not in this frame"
    cells = (
        (
            Span(label_of(i) if here else "-", Tone.STRONG if here else Tone.DIM),
            Span(" ▸" if moved and here else "", tone),
        ),
        cell(field.name, Tone.PLAIN if here else Tone.DIM),
        cell(said, tone),
        cell("" if field.raw is None else f"{field.raw:zg}" if isinstance(field.raw, float) else str(field.raw)),
        cell(where(field.bits), Tone.DIM),
    )
    name = f"{detail.channel} {detail.identifier:X} {detail.message}.{field.name}"
    return Row(field.name, cells, f"{name} ({said})" if field.raw is None else f"{name} = {said} (raw {field.raw})")


def where(bits: Sequence[int]) -> str:
    """Place of a signal from its highest bit to its lowest: "byte 0 bit 7 to byte 1 bit 0"."""
    if not bits:
        return ""
    first, last = bits[0], bits[-1]
    if first == last:
        return f"byte {first // 8} bit {first % 8}"
    if first // 8 == last // 8:
        return f"byte {first // 8} bits {first % 8} to {last % 8}"
    return f"byte {first // 8} bit {first % 8} to byte {last // 8} bit {last % 8}"


def title(detail: FrameDetail | None) -> str:
    """What the grid says over its edge."""
    if detail is None:
        return "Bits"
    identifier = f"{detail.identifier:08X}x" if detail.is_extended else f"{detail.identifier:03X}"
    return f"Bits of {detail.channel} {identifier}"


def values_title(detail: FrameDetail | None) -> str:
    """What the list says over its edge."""
    if detail is None or not detail.message:
        return "Signals"
    return f"Signals of {detail.message}" + (f": {detail.comment}" if detail.comment else "")


def bench_signal(signals: Sequence[SignalNow], message: str, field: str) -> str | None:
    """Name of the bench file's signal that comes from this field of this message; None: there is none."""
    end = f".{message}.{field}"
    return next((s.name for s in signals if s.source.endswith(end)), None)
