"""Tells the tally of a vehicle what the OBD listener heard."""

from __future__ import annotations

from collections.abc import Iterable

from busprobe.analysis.vehicle import PENDING, PERMANENT, STORED, Readiness, VehicleTally
from busprobe.decode.negative import in_words
from busprobe.decode.obd import Codes, Identity, Negative, Reading, Record, Request
from busprobe.report.quantities import identifier

KINDS = {0x03: STORED, 0x07: PENDING, 0x0A: PERMANENT}
"""Service -> kind of the trouble codes that it answers with."""
CURRENT_DATA = 0x01
STATUS_PID, ENGINE_SPEED_PID, VOLTAGE_PID = 0x01, 0x0C, 0x42
VIN_TYPE, NAME_TYPE = 0x02, 0x0A
_LAST_11 = 0x7FF
_STATUS = {"01.mil", "01.dtc_count", "01.ignition", "01.supported", "01.not_complete"}


class VehicleEar:
    """Sorts records into a tally, and remembers which PIDs were told."""

    def __init__(self) -> None:
        self.tally = VehicleTally()
        self.told: set[tuple[str, int]] = set()
        """(unit, PID of service 01) of each reading."""
        self.newest_ns: int | None = None
        """Time of the newest answer."""
        self._status: dict[str, dict[str, Reading]] = {}
        self._asked: dict[int, tuple[int, tuple[str, ...]]] = {}
        """By service, the newest request: time, and what was asked for: "01 0C", "03"."""

    def hear(self, records: Iterable[Record]) -> None:
        """Records of one bus, in their order."""
        for record in records:
            match record:
                case Reading(service=0x01):
                    self._reading(record)
                case Codes(service=service) if service in KINDS:
                    self.tally.codes(unit_text(record.unit_id), KINDS[service], record.codes)
                case Identity(infotype=0x02):
                    self.tally.vin(unit_text(record.unit_id), record.text, record.note)
                case Identity(infotype=0x0A):
                    self.tally.name(unit_text(record.unit_id), record.text)
                case Request():
                    self._request(record)
                    continue
                case Negative(pending=False):
                    self._refusal(record)
                case _:
                    continue
            self.newest_ns = record.t_ns

    def _request(self, record: Request) -> None:
        service = f"{record.service:02X}"
        asked = tuple(f"{service} {pid:02X}" for pid in record.pids) or (service,)
        self._asked[record.service] = record.t_ns, asked
        for request in asked:
            self.tally.asked(request)

    def _refusal(self, record: Negative) -> None:
        """A refusal names the service alone; it holds for all that was asked for with the request it answers."""
        t_ns, asked = self._asked.get(record.service, (None, ()))
        if t_ns is None or t_ns != record.request_t_ns:
            asked = (f"{record.service:02X}",)
        for request in asked:
            why = f"{in_words(record.name)} (code {record.code:02X})"
            self.tally.refusal(unit_text(record.unit_id), f"{request}: {why}")

    def _reading(self, record: Reading) -> None:
        unit, pid = unit_text(record.unit_id), record.pid
        if pid is None:
            return
        self.told.add((unit, pid))
        if pid % 0x20 == 0 and isinstance(record.value, tuple):
            self.tally.pids(unit, record.value)
        elif pid == STATUS_PID:
            self._status_part(unit, record)
        elif pid == VOLTAGE_PID and isinstance(record.value, float):
            self.tally.voltage(unit, record.value)
        elif pid == ENGINE_SPEED_PID and isinstance(record.value, float):
            self.tally.engine_rpm(unit, record.value)

    def _status_part(self, unit: str, record: Reading) -> None:
        """PID 01 comes as several readings of one time."""
        parts = self._status.setdefault(unit, {})
        if parts and next(iter(parts.values())).t_ns != record.t_ns:
            parts.clear()
        parts[record.name] = record
        if parts.keys() >= _STATUS:
            self.tally.readiness(unit, _readiness(parts))


def _readiness(parts: dict[str, Reading]) -> Readiness:
    supported, not_complete = parts["01.supported"].value, parts["01.not_complete"].value
    assert isinstance(supported, tuple)
    assert isinstance(not_complete, tuple)
    return Readiness(
        bool(parts["01.mil"].raw),
        parts["01.dtc_count"].raw or 0,
        supported,
        tuple(name for name in not_complete if name in supported),
        str(parts["01.ignition"].value),
    )


def unit_text(unit_id: int) -> str:
    """A control unit by the identifier of its answers: "7E8"."""
    return identifier(unit_id, unit_id > _LAST_11)
