"""Which signals of a message can be decoded as the database describes them, and why others cannot."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from busprobe.decode.bits import FLOAT_LENGTHS, WORD
from busprobe.decode.layout import SignalLayout

LONGEST_PAYLOAD = 64
"""Bytes in a frame (CAN FD)."""


@dataclass(frozen=True)
class Fault:
    """Something wrong with one or more signals of a message."""

    text: str
    """What is wrong, beginning with the signals: `signal "Torque" does not fit in 8 bytes`."""
    names: tuple[str, ...]
    """The signals that cannot be used because of it, one name for each."""


def quoted(names: Iterable[str]) -> str:
    """`"A"`, `"A" and "B"`, `"A", "B" and "C"`; of more than six the first six and how many more."""
    texts = [f'"{name}"' for name in names]
    if len(texts) > 6:
        texts = [*texts[:6], f"{len(texts) - 6} more"]
    return " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts)


def faults(length: int, signals: Sequence[SignalLayout], known: Sequence[Fault] = ()) -> list[Fault]:
    """What is wrong with the signals of a message of `length` bytes; empty where all are sound.

    known: faults already found, which come first.
    """
    found = list(known)
    for rule in (_singly, _twice, _groups, _overlaps):
        left_out = {name for fault in found for name in fault.names}
        found += rule(length, [s for s in signals if s.name not in left_out])
    return found + _orphans(signals, {name for fault in found for name in fault.names})


def _singly(length: int, signals: Sequence[SignalLayout]) -> list[Fault]:
    """One fault for all signals that by themselves have the same thing wrong."""
    alike: dict[tuple[str, str], list[str]] = {}
    for signal in signals:
        if wrong := _wrong(length, signal):
            alike.setdefault(wrong, []).append(signal.name)
    return [
        Fault(f"signals {quoted(names)} {many}" if len(names) > 1 else f'signal "{names[0]}" {one}', tuple(names))
        for (one, many), names in alike.items()
    ]


def _wrong(length: int, signal: SignalLayout) -> tuple[str, str] | None:
    """What is wrong with a signal by itself, said of one and of many, or None."""
    if signal.start < 0 or signal.length < 1:
        return "has no place: start bit or length below the least", "have no place: start bit or length below the least"
    if signal.length > WORD:
        return f"is longer than {WORD} bits", f"are longer than {WORD} bits"
    if signal.is_float and signal.length not in FLOAT_LENGTHS:
        sizes = "of a size other than 16, 32 or 64 bits"
        return f"is a floating-point number {sizes}", f"are floating-point numbers {sizes}"
    if not (math.isfinite(signal.scale) and math.isfinite(signal.offset)):
        return "has a scale or offset without bounds", "have a scale or offset without bounds"
    if signal.bits.byte_count > length:
        size = f"in {length} byte{'s' * (length != 1)}"
        return f"does not fit {size}", f"do not fit {size}"
    if signal.bits.byte_count > LONGEST_PAYLOAD:
        return f"lies past byte {LONGEST_PAYLOAD} of the frame", f"lie past byte {LONGEST_PAYLOAD} of the frame"
    return None


def _twice(length: int, signals: Sequence[SignalLayout]) -> list[Fault]:
    names = [s.name for s in signals]
    return [
        Fault(f'{names.count(name)} signals have the name "{name}"', (name,) * names.count(name))
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]


def _groups(length: int, signals: Sequence[SignalLayout]) -> list[Fault]:
    """Signals that hold two or more others wholly: a name for these together, and of no other use."""
    found = []
    for signal, others in zip(signals, _sharing(signals), strict=True):
        mask = signal.bits.mask
        parts = [o.name for o in others if o.length < signal.length and o.bits.mask | mask == mask]
        if len(parts) > 1:
            found.append(Fault(f'signal "{signal.name}" covers {quoted(parts)}', (signal.name,)))
    return found


def _overlaps(length: int, signals: Sequence[SignalLayout]) -> list[Fault]:
    """One fault for each set of signals that share bits, one with the next, in some frame."""
    sets: list[dict[str, None]] = []
    for signal, others in zip(signals, _sharing(signals), strict=True):
        if others:
            joined = {signal.name: None} | {o.name: None for o in others}
            for known in [s for s in sets if s.keys() & joined.keys()]:
                joined = known | joined
                sets.remove(known)
            sets.append(joined)
    order = [s.name for s in signals]
    named = [tuple(sorted(names, key=order.index)) for names in sets]
    return [Fault(f"signals {quoted(names)} overlap", names) for names in named]


def _sharing(signals: Sequence[SignalLayout]) -> list[list[SignalLayout]]:
    """For each signal, the others with which it has bits in common in some frame."""
    masks = [s.bits.mask for s in signals]
    union = 0
    for mask in masks:
        union |= mask
    out: list[list[SignalLayout]] = [[] for _ in signals]
    if union.bit_count() == sum(s.length for s in signals):
        return out
    for i, a in enumerate(signals):
        for j in range(i):
            if masks[i] & masks[j] and not _never_together(a, signals[j]):
                out[i].append(signals[j])
                out[j].append(a)
    return out


def _never_together(a: SignalLayout, b: SignalLayout) -> bool:
    """Whether some multiplexer selects one of the two only when it does not select the other."""
    other = dict(b.multiplexer)
    return any(
        name in other and all(high < low2 or high2 < low for low, high in ranges for low2, high2 in other[name])
        for name, ranges in a.multiplexer
    )


def _orphans(signals: Sequence[SignalLayout], left_out: set[str]) -> list[Fault]:
    """Signals that would be present or not by a multiplexer that cannot be used."""
    return [
        Fault(f'signal "{s.name}" depends on the multiplexer "{name}", which is left out', (s.name,))
        for s in signals
        if s.name not in left_out
        for name in [n for n, _ in s.multiplexer if n in left_out][:1]
    ]
