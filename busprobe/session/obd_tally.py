"""Tells the OBD tally of a survey what the listener heard."""

from __future__ import annotations

from collections.abc import Iterable

from busprobe.analysis.obd_seen import ObdTally, ObdValue
from busprobe.decode.obd import Codes, Identity, Negative, Reading, Record, Request
from busprobe.decode.quantity import Value

KINDS = {0x03: "confirmed", 0x04: "cleared", 0x07: "pending", 0x0A: "permanent"}
"""Service -> kind of the trouble codes that it answers with."""
_LAST_11 = 0x7FF


def tell(tally: ObdTally, records: Iterable[Record]) -> None:
    """Count every record; a request for patience is no refusal and is left out."""
    for record in records:
        match record:
            case Reading():
                _reading(tally, record)
            case Request():
                tally.request(
                    record.t_ns,
                    record.channel,
                    record.identifier,
                    extended=record.identifier > _LAST_11,
                    was_sent=record.was_sent,
                    asked=[f"{record.service:02X} {pid:02X}" for pid in record.pids] or [f"{record.service:02X}"],
                )
            case Codes(t_ns=t_ns, channel=channel):
                kind = KINDS.get(record.service, f"service {record.service:02X}")
                tally.codes(t_ns, channel, _unit(record.unit_id), kind, record.codes)
            case Identity(t_ns=t_ns, channel=channel):
                tally.identity(
                    t_ns, channel, _unit(record.unit_id),
                    infotype=record.infotype, title=record.title, text=record.text, note=record.note,
                )  # fmt: skip
            case Negative(t_ns=t_ns, channel=channel, pending=False):
                tally.negative(
                    t_ns, channel, _unit(record.unit_id),
                    service=record.service, reason_code=record.code, reason=record.name,
                )  # fmt: skip


def _reading(tally: ObdTally, record: Reading) -> None:
    tally.value(
        record.t_ns, record.channel, _unit(record.unit_id),
        service=record.service,
        pid=f"{record.pid:02X}" if record.pid is not None else "",
        name=record.name, title=record.title, value=_value(record.value), unit=record.unit or "",
    )  # fmt: skip


def _unit(identifier: int) -> str:
    return f"{identifier:03X}" if identifier <= _LAST_11 else f"{identifier:08X}"


def _value(value: Value) -> ObdValue:
    """A condition as "on" or "off", a list of names as one text."""
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, tuple):
        return ", ".join(value) or "none"
    return value
