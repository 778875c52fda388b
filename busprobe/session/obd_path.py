"""The way of an OBD quantity: request, frames of the answer, raw number, value.

Request   01 42                     7DF, asked 412 ms ago by another tester
Frames    7E8: 03 41 42 36 4C       1 frame, 4 bytes (ISO 15765-2), 400 ms ago, 12 ms after a request
Raw       13900                     bytes A and B: 36 4C
Value     13.9 V                    Control module voltage: (256 A + B) / 1000
"""

from __future__ import annotations

from typing import NamedTuple

from busprobe.decode import isotp, pids
from busprobe.decode.answers import Reading, Request
from busprobe.decode.quantity import Quantity
from busprobe.engine.signal_plan import ObdTap
from busprobe.engine.steps import number_text, quantity_decimals
from busprobe.errors import counted
from busprobe.obd_identifiers import is_extended
from busprobe.report.quantities import identifier
from busprobe.session.ages import age_text
from busprobe.session.snapshot import Stage

LETTERS = "ABCDEFGH"
MOST_LETTERED = 2
"""Bytes that a formula names one by one; of more it says from which to which."""


class ObdWay(NamedTuple):
    stages: list[Stage]
    payload: bytes | None
    """Of the frame of an answer of one frame; else of the whole answer."""
    bits: tuple[int, ...]
    """Bit numbers of the quantity in that payload, most significant first."""


def obd_way(tap: ObdTap, request: Request | None, answer: Reading | None, t_ns: int) -> ObdWay:
    """request, answer: the newest ones of the quantity."""
    quantity = pids.find(tap.name)
    assert quantity is not None
    asked = _request(tap, quantity, request, t_ns)
    if answer is None:
        none = Stage("Frames", "no answer yet", f"41 {quantity.pid:02X} ... from a control unit on {tap.bus}")
        return ObdWay([asked, none, _value(quantity, None)], None, ())
    place = data_place(answer.payload, quantity.pid)
    own = answer.payload[place + quantity.first : place + quantity.first + quantity.width]
    raw = Stage("Raw", f"{answer.raw}", f"{_letters(quantity)}: {own.hex(' ').upper()}{_of_bits(quantity)}")
    payload, before = answer.payload, 0
    if len(answer.frames) == 1:
        payload = answer.frames[0]
        before = len(payload) and _head(payload)
    return ObdWay(
        [asked, _frames(tap, answer, t_ns), raw, _value(quantity, answer)],
        payload,
        bit_numbers(quantity, before + place),
    )


def bit_numbers(quantity: Quantity, place: int) -> tuple[int, ...]:
    """Bits of a quantity (byte * 8 + bit), most significant first; place: of data byte A in its payload."""
    last = place + quantity.first + quantity.width - 1
    low = quantity.shift if quantity.bits is not None else 0
    count = 8 * quantity.width if quantity.bits is None else quantity.bits
    return tuple(8 * (last - k // 8) + k % 8 for k in range(low + count - 1, low - 1, -1))


def data_place(payload: bytes, pid: int) -> int:
    """Where the data of a PID begin in an answer to service 01."""
    place = 1
    for found, _, data in pids.split_answer(payload[1:]).items:
        if found == pid:
            return place + 1
        place += 1 + len(data)
    return place


def _request(tap: ObdTap, quantity: Quantity, request: Request | None, t_ns: int) -> Stage:
    text = f"01 {quantity.pid:02X}"
    if request is None:
        return Stage("Request", "none heard", f"{text} on {tap.bus}; nobody asks, or beyond a gateway")
    who = "from this machine" if request.was_sent else "by another tester"
    several = f", with {counted(len(request.pids) - 1, 'more PID')}" if len(request.pids) > 1 else ""
    return Stage(
        "Request", text, f"{tap.bus} {_named(request.identifier)}, asked {_ago(t_ns, request.t_ns)} {who}{several}"
    )


def _frames(tap: ObdTap, answer: Reading, t_ns: int) -> Stage:
    """The frames as sent, without their padding."""
    frames = list(answer.frames)
    if len(frames) == 1:
        frames = [frames[0][: _head(frames[0]) + len(answer.payload)]]
    text = f"{_named(answer.unit_id)}: " + " / ".join(frame.hex(" ").upper() for frame in frames)
    count = counted(len(frames), "frame")
    took = ""
    if answer.request_t_ns is not None:
        took = f", {max(answer.t_ns - answer.request_t_ns, 0) / 1e6:.0f} ms after its request"
    said = f"{tap.bus}, {count}, {counted(len(answer.payload), 'byte')} (ISO 15765-2), {_ago(t_ns, answer.t_ns)}{took}"
    return Stage("Frames", text, said)


def _value(quantity: Quantity, answer: Reading | None) -> Stage:
    text = "none yet"
    if answer is not None:
        value = answer.value
        if isinstance(value, bool):
            text = "on" if value else "off"
        elif isinstance(value, tuple):
            text = ", ".join(value) or "none"
        elif isinstance(value, str):
            text = value
        else:
            text = number_text(value, quantity_decimals(quantity)) + (f" {quantity.unit}" if quantity.unit else "")
    return Stage("Value", text, f"{quantity.title}: {formula(quantity)}")


def formula(quantity: Quantity) -> str:
    """From the raw number to the value, as SAE J1979 writes it: "(256 A + B) / 1000"."""
    if quantity.meaning is not None:
        return "what the code stands for"
    scale = quantity.scale
    names = LETTERS[quantity.first : quantity.first + quantity.width]
    number = names if len(names) == 1 else f"256 {names[0]} + {names[1]}" if len(names) == MOST_LETTERED else "raw"
    if quantity.bits is not None or scale.signed:
        number = "raw"
    if " " in number and (scale.factor, scale.divisor) != (1, 1):
        number = f"({number})"
    number += f" × {scale.factor}" if scale.factor != 1 else ""
    number += f" / {scale.divisor}" if scale.divisor != 1 else ""
    return number + (f" {'+' if scale.offset > 0 else '-'} {abs(scale.offset)}" if scale.offset else "")


def _letters(quantity: Quantity) -> str:
    names = LETTERS[quantity.first : quantity.first + quantity.width]
    if len(names) == 1:
        return f"byte {names}"
    return f"bytes {names[0]} {'and' if len(names) == MOST_LETTERED else 'to'} {names[-1]}"


def _of_bits(quantity: Quantity) -> str:
    if quantity.bits is None:
        return ""
    high, low = quantity.shift + quantity.bits - 1, quantity.shift
    return f", bit {low}" if high == low else f", bits {high} to {low}"


def _head(frame: bytes) -> int:
    """Protocol bytes before the data of a frame."""
    head = isotp.parse(frame)
    return 0 if head is None else head.start


def _ago(t_ns: int, then_ns: int) -> str:
    return f"{age_text(t_ns - then_ns)} ago"


def _named(number: int) -> str:
    return identifier(number, is_extended(number))
