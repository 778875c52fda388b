"""What the payload of an OBD answer says, service by service (SAE J1979, ISO 15031-5).

41 0D 3C                      service 01: PID, data, PID, data ..
42 0C 00 1A F8                service 02: PID, frame number, data ..
43 02 01 43 01 96             services 03, 07, 0A on CAN: number of codes, codes of two bytes
49 02 01 31 4D 38 ..          service 09: information type, number of items, items
7F 01 22                      refused: service, response code
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final, NamedTuple

from busprobe.decode.answers import Codes, Identity, Negative, Reading, Record
from busprobe.decode.negative import PENDING, negative_name
from busprobe.decode.pids import decode_answer
from busprobe.decode.pids_bits import supported_numbers
from busprobe.decode.trouble_codes import code_texts
from busprobe.decode.vin import check_vin

REFUSED: Final = 0x7F
ANSWERED: Final = 0x40
"""Added to the service in a positive answer."""

CURRENT_DATA: Final = 0x01
FREEZE_FRAME: Final = 0x02
NUMBERED: Final = frozenset({CURRENT_DATA, FREEZE_FRAME, 0x09})
"""Services whose requests and answers name a PID or an information type."""

VIN: Final = 0x02
UNIT_NAME: Final = 0x0A
INFORMATION: Final = MappingProxyType(
    {
        VIN: "VIN",
        0x04: "Calibration identification",
        0x06: "Calibration verification number",
        0x08: "In-use performance counters, spark ignition",
        UNIT_NAME: "Control unit name",
        0x0B: "In-use performance counters, compression ignition",
        0x0D: "Engine serial number",
    }
)
"""Information type of service 09 -> title."""
TEXTS: Final = frozenset({VIN, 0x04, 0x0D})
"""Information types whose items are text; the others are shown as hex bytes."""


class Answer(NamedTuple):
    """One whole answer of a control unit."""

    t_ns: int
    channel: str
    unit_id: int
    payload: bytes
    request_t_ns: int | None
    frames: tuple[bytes, ...] = ()
    """What it came in."""


@dataclass
class Tally:
    """What could not be decoded, counted."""

    unknown_pids: Counter[int] = field(default_factory=Counter)
    """PID of unknown length -> answers that had to be left off there."""
    malformed: int = 0
    """Answers with fewer or more bytes than their own fields call for."""


def read_answer(answer: Answer, tally: Tally) -> list[Record]:
    """The records of an answer, in its order; none for a service that is not OBD's."""
    match answer.payload[0]:
        case 0x41:
            return _readings(answer, tally, CURRENT_DATA)
        case 0x42:
            return _readings(answer, tally, FREEZE_FRAME)
        case 0x43 | 0x47 | 0x4A:
            return _codes(answer, tally)
        case 0x44:
            return [_codes_record(answer, ())]
        case 0x49:
            return _identity(answer, tally)
        case 0x7F:
            return _negative(answer, tally)
    return []


def _readings(answer: Answer, tally: Tally, service: int) -> list[Record]:
    t_ns, channel, unit_id, payload, request_t_ns, frames = answer
    frozen = service == FREEZE_FRAME
    contents = decode_answer(payload[1:], 2 if frozen else 1)
    tally.malformed += contents.cut or len(payload) < 2
    if contents.unknown is not None:
        tally.unknown_pids[contents.unknown] += 1
    readings: list[Record] = []
    for frame, quantity, raw, value in contents.readings:
        name, title, unit = quantity.name, quantity.title, quantity.scale.unit
        if frozen:
            name, title = f"freeze.{name}", f"{title} (freeze frame {frame})"
        readings.append(
            Reading(
                t_ns, channel, unit_id, service, quantity.pid, name, title, value, unit, request_t_ns, raw, payload,
                frames,
            )
        )  # fmt: skip
    return readings


def _codes(answer: Answer, tally: Tally) -> list[Record]:
    payload = answer.payload
    end = 2 + 2 * payload[1] if len(payload) > 1 else 2
    tally.malformed += len(payload) != end
    if len(payload) < end:
        return []
    return [_codes_record(answer, code_texts(payload[2:end]))]


def _codes_record(answer: Answer, codes: tuple[str, ...]) -> Codes:
    service = answer.payload[0] - ANSWERED
    return Codes(answer.t_ns, answer.channel, answer.unit_id, service, codes, answer.request_t_ns)


def _negative(answer: Answer, tally: Tally) -> list[Record]:
    if len(answer.payload) < 3:
        tally.malformed += 1
        return []
    _, service, code = answer.payload[:3]
    name = negative_name(code)
    t_ns, channel, unit_id, _, request_t_ns, _ = answer
    return [Negative(t_ns, channel, unit_id, service, code, name, code == PENDING, request_t_ns)]


def _identity(answer: Answer, tally: Tally) -> list[Record]:
    payload = answer.payload
    if len(payload) < 3:
        tally.malformed += 1
        return []
    infotype = payload[1]
    if infotype % 0x20 == 0:
        numbers = supported_numbers(infotype, int.from_bytes(payload[2:6], "big"))
        tally.malformed += len(payload) != 6
        return [_record(answer, "Information types supported", " ".join(numbers))]
    count, items = payload[2], payload[3:]
    if not count or not items or len(items) % count:
        tally.malformed += 1
        return []
    size = len(items) // count
    title = INFORMATION.get(infotype, f"Information type {infotype:02X}")
    return [_record(answer, title, _item_text(infotype, items[k : k + size])) for k in range(0, len(items), size)]


def _record(answer: Answer, title: str, text: str) -> Identity:
    t_ns, channel, unit_id, payload, request_t_ns, _ = answer
    note = check_vin(text).note if payload[1] == VIN else ""
    return Identity(t_ns, channel, unit_id, payload[1], title, text, note, request_t_ns)


def _item_text(infotype: int, item: bytes) -> str:
    if infotype == UNIT_NAME:
        short, _, name = item.partition(b"-")
        return " / ".join(filter(None, (_text(short), _text(name))))
    return _text(item) if infotype in TEXTS else item.hex().upper()


def _text(item: bytes) -> str:
    """Text without its NUL padding; bytes that print nothing show as "?"."""
    return "".join(chr(byte) if 0x20 <= byte < 0x7F else "?" for byte in item.strip(b"\0"))
