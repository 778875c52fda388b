"""What OBD traffic said: the records that `obd.Listener` gives out.

`channel` is the bus, `unit_id` the identifier that the control unit answered with (0x7E8,
0x18DAF110), `service` the service asked for. Times are stamps of the last frame of a message.
`request_t_ns` is the time of the request that was answered, None where none was seen: it may
have been made on the other side of a gateway.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from busprobe.decode.quantity import Value


@dataclass(frozen=True, slots=True)
class Reading:
    """One quantity of an answer to service 01 or 02."""

    t_ns: int
    channel: str
    unit_id: int
    service: int
    pid: int | None
    name: str
    """As in a bench file after `obd.`; stored with a trouble code (service 02): "freeze.0D"."""
    title: str
    value: Value
    """A number in `unit`, a label, a condition, a list of names, or bytes in hex."""
    unit: str | None
    request_t_ns: int | None = None
    raw: int | None = None
    """The number as sent: the code of a label, 0 or 1 of a condition, the bits of a list."""
    payload: bytes = field(default=b"", compare=False, repr=False)
    """The whole answer, which may say more than this."""
    frames: tuple[bytes, ...] = field(default=(), compare=False, repr=False)
    """The frames that the answer came in."""


@dataclass(frozen=True, slots=True)
class Negative:
    """A control unit refused a request, or asked for patience."""

    t_ns: int
    channel: str
    unit_id: int
    service: int
    code: int
    name: str
    pending: bool
    """Code 78: the answer comes later."""
    request_t_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Codes:
    """Trouble codes of one control unit.

    service: 03 confirmed, 07 found in this or the last drive cycle, 0A permanent;
    04 with no codes: the unit says that it has cleared its codes.
    """

    t_ns: int
    channel: str
    unit_id: int
    service: int
    codes: tuple[str, ...]
    request_t_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Identity:
    """An answer to service 09: what the vehicle or the control unit is."""

    t_ns: int
    channel: str
    unit_id: int
    infotype: int
    title: str
    text: str
    note: str = ""
    """What there is to say about it: what the check digit of a VIN says."""
    request_t_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """A request of a tester, of ours or of another."""

    t_ns: int
    channel: str
    identifier: int
    service: int
    pids: tuple[int, ...]
    """PIDs (service 01, 02) or information types (09) asked for; empty for other services."""
    was_sent: bool
    """Sent by the machine that recorded it; False: another tester asks."""


Record = Reading | Negative | Codes | Identity | Request
