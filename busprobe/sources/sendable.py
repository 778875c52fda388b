"""The last look at a frame before it goes out: only what an OBD tester sends may pass.

    7DF      02 01 0D 00 ..    single frame, service 01
    18DA10F1 30 00 00 00 ..    flow control for a long answer

Identifiers from ISO 15765-4, first byte from ISO 15765-2, services from SAE J1979.
"""

from __future__ import annotations

from busprobe.errors import DeviceError
from busprobe.obd_identifiers import ALL_11, ALL_29, FIRST_ANSWER_11, FIRST_UNIT_11, TO_UNIT_29

SERVICES = (0x01, 0x03, 0x07, 0x09, 0x0A)
"""They only read. Clearing codes (04) is not among them."""
_SINGLE, _FLOW = 0, 3
"""Kinds of frames, by the high half of byte 0."""


def refuse_frame(bus: str, identifier: int, data: bytes, *, extended: bool) -> None:
    """Raise DeviceError unless the frame is a standard OBD request, or flow control for its answer."""
    if extended:
        to_unit = identifier & 0xFFFF00FF == TO_UNIT_29 and identifier != TO_UNIT_29 | 0xF100
        is_request = identifier == ALL_29 or to_unit
    else:
        is_request = identifier == ALL_11 or FIRST_UNIT_11 <= identifier < FIRST_ANSWER_11
    kind = data[0] >> 4 if 1 < len(data) <= 8 else None
    if is_request and (kind == _FLOW or (kind == _SINGLE and data[1] in SERVICES)):
        return
    raise DeviceError(
        f'The frame "{identifier:X} {data.hex(" ").upper()}" is no standard OBD request: '
        f'it is not sent on the bus "{bus}".'
    )
