"""From the messages and signals of cantools to layouts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

from busprobe.decode.dbc_text import MULTIPLEXED, MessagePlace, SignalPlace
from busprobe.decode.layout import MessageLayout, Ranges, SignalLayout
from busprobe.decode.soundness import Fault, faults
from busprobe.decode.unavailable import j1939_unavailable_from, named_unavailable

if TYPE_CHECKING:
    from cantools.database.can import Message, Signal

_NS_PER_MS = 1_000_000

_Multiplexers = tuple[tuple[str, Ranges], ...]


def message_layout(message: Message, place: MessagePlace | None) -> tuple[MessageLayout, list[Fault]]:
    """The message with the signals that can be used, and what is wrong with the others."""
    by_name = {s.name: s for s in message.signals}
    multiplexers = {s.multiplexer_signal for s in message.signals}
    is_j1939 = message.protocol == "j1939"
    signals, known = [], []
    written: Sequence[SignalPlace | None] = place.signals if place else [None] * len(message.signals)
    for signal, where in zip(message.signals, written, strict=True):
        above = _multiplexers(signal, by_name)
        marked = where is not None and MULTIPLEXED.fullmatch(where.marker)
        if above is None or (marked and not above):
            known.append(Fault(f'signal "{signal.name}" does not say which multiplexer selects it', (signal.name,)))
        signals.append(_signal_layout(signal, above or (), is_j1939, signal.name in multiplexers))
    wrong = faults(message.length, signals, known)
    left_out = {name for fault in wrong for name in fault.names}
    layout = MessageLayout(
        name=message.name,
        identifier=message.frame_id,
        is_extended=message.is_extended_frame,
        length=message.length,
        is_fd=message.is_fd or (message.length > 8 and not is_j1939),
        cycle_time_ns=_cycle_time_ns(message),
        is_j1939=is_j1939,
        signals=tuple(s for s in signals if s.name not in left_out),
        comment=message.comment,
        left_out=tuple(dict.fromkeys(s.name for s in signals if s.name in left_out)),
    )
    return layout, wrong


def _cycle_time_ns(message: Message) -> int | None:
    """Interval at which the message is always sent, or None.

    Common practice, no source: a send type that speaks of activity, or of changes and events but
    not of a cycle, means that frames may stay away for good reason.
    """
    kind = (message.send_type or "").lower()
    on_event = any(word in kind for word in ("change", "write", "event", "spontan", "trigger"))
    if "active" in kind or (on_event and not any(word in kind for word in ("cyclic", "periodic"))):
        return None
    cycle_time: object = message.cycle_time  # text where a DBC file defines the attribute as text
    return round(cycle_time * _NS_PER_MS) if isinstance(cycle_time, int | float) and cycle_time > 0 else None


def _signal_layout(signal: Signal, above: _Multiplexers, is_j1939: bool, has_signals_below: bool) -> SignalLayout:
    conversion = signal.conversion
    choices = {int(raw): str(label) for raw, label in (conversion.choices or {}).items()}
    if not conversion.is_float:
        choices = _by_raw(signal, choices)
    not_available = set(named_unavailable(choices, signal.length))
    if isinstance(signal.raw_invalid, int):
        not_available.add(signal.raw_invalid)
    has_codes = is_j1939 and not signal.is_signed and not conversion.is_float
    return SignalLayout(
        name=signal.name,
        start=signal.start,
        length=signal.length,
        big_endian=signal.byte_order == "big_endian",
        signed=signal.is_signed,
        is_float=conversion.is_float,
        scale=float(conversion.scale),
        offset=float(conversion.offset),
        unit=signal.unit or None,
        choices=MappingProxyType(choices),
        multiplexer=above,
        is_multiplexer=signal.is_multiplexer or has_signals_below,
        minimum=None if signal.minimum is None else float(signal.minimum),
        maximum=None if signal.maximum is None else float(signal.maximum),
        not_available=tuple(sorted(not_available)),
        not_available_from=j1939_unavailable_from(choices, signal.length) if has_codes else None,
    )


def _by_raw(signal: Signal, named: Mapping[int, str]) -> dict[int, str]:
    """Names by raw value, where the file may give -1 for the bits FF or 255 for a signed -1.

    Numbers that the signal cannot have are left out.
    """
    size = 1 << max(signal.length, 1)
    low = -(size // 2) if signal.is_signed else 0
    turned = {low + (number - low) % size: name for number, name in named.items() if -(size // 2) <= number < size}
    return turned | {number: name for number, name in named.items() if low <= number < low + size}


def _multiplexers(signal: Signal, by_name: Mapping[str, Signal]) -> _Multiplexers | None:
    """The multiplexers above a signal, outermost first; None where the database leaves them open."""
    out: list[tuple[str, Ranges]] = []
    while signal.multiplexer_signal is not None:
        above = by_name.get(signal.multiplexer_signal)
        if above is None or not signal.multiplexer_ids or len(out) > len(by_name):
            return None
        raw = _by_raw(above, dict.fromkeys(signal.multiplexer_ids, ""))
        out.append((above.name, _ranges(sorted(raw))))
        signal = above
    return tuple(reversed(out))


def _ranges(numbers: Sequence[int]) -> Ranges:
    """Rising numbers as (lowest, highest) pairs."""
    out: list[tuple[int, int]] = []
    for number in numbers:
        if out and out[-1][1] == number - 1:
            out[-1] = out[-1][0], number
        else:
            out.append((number, number))
    return tuple(out)
