"""What the control units of a vehicle say of themselves: VIN, PIDs, codes, readiness, voltage.

The session tells the tally of each thing decoded; the newest word of a unit on each counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

STORED, PENDING, PERMANENT = "stored", "pending", "permanent"
CODE_KINDS = (STORED, PENDING, PERMANENT)
"""Kinds of trouble codes, in the order in which they are told."""
READINESS, VOLTAGE, VIN = "readiness", "battery voltage", "VIN"
REQUESTS: Mapping[str, str] = MappingProxyType(
    {
        **{f"{kind} codes": service for kind, service in zip(CODE_KINDS, ("03", "07", "0A"), strict=True)},
        READINESS: "01 01",
        VOLTAGE: "01 42",
        VIN: "09 02",
    }
)
"""What a unit may tell -> the request that asks for it (SAE J1979, from memory)."""
NOT_ASKED, NO_ANSWER = "not asked", "no answer"


@dataclass(frozen=True)
class Readiness:
    """PID 01: the lamp, and how far the monitors have got since codes were last cleared."""

    lamp_on: bool
    codes_counted: int
    """Stored codes, as the unit counts them."""
    supported: tuple[str, ...]
    """Monitors that the unit has."""
    not_complete: tuple[str, ...]
    """Those of them that have not finished."""
    ignition: str = ""
    """"spark" or "compression"."""

    @property
    def complete(self) -> tuple[str, ...]:
        return tuple(name for name in self.supported if name not in self.not_complete)


@dataclass(frozen=True)
class UnitRead:
    """One control unit; None and what is missing: it did not say."""

    unit: str
    """Identifier of its answers in hex: "7E8"."""
    name: str = ""
    vin: str = ""
    vin_note: str = ""
    """What the check digit says."""
    pids: tuple[str, ...] | None = None
    """Supported PIDs of service 01, two digits each."""
    codes: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))
    """Kind -> trouble codes."""
    readiness: Readiness | None = None
    voltage: float | None = None
    """PID 42, V."""
    engine_rpm: float | None = None
    """PID 0C."""
    refusals: tuple[str, ...] = ()
    """"0A: service not supported (code 11)": request, or service alone, and why it was refused."""

    def tells(self, what: str) -> bool:
        """Whether it said something on a key of `REQUESTS`."""
        found = {READINESS: self.readiness is not None, VOLTAGE: self.voltage is not None, VIN: bool(self.vin)}
        return found[what] if what in found else what.removesuffix(" codes") in self.codes

    def refused(self, what: str) -> str:
        """Why it refused to tell a key of `REQUESTS`; empty: it did not."""
        said = dict(refusal.split(": ", 1) for refusal in self.refusals if ": " in refusal)
        return said.get(REQUESTS[what]) or said.get(REQUESTS[what].split()[0], "")


@dataclass(frozen=True)
class VehicleRead:
    """All control units that said something, on one bus."""

    bus: str
    read_ns: int
    units: tuple[UnitRead, ...] = ()
    asked: frozenset[str] | None = None
    """Requests that anybody was heard making: "03", "01 42"; None: not known."""

    def absent(self, what: str, unit: UnitRead | None = None) -> str:
        """Why a key of `REQUESTS` is missing: it was refused, nobody asked for it, or there was no answer.

        unit: from that one; None: from all.
        """
        if unit is not None and (reason := unit.refused(what)):
            return f"refused, {reason}"
        refused = [f"{one.unit}: {one.refused(what)}" for one in self.units if one.refused(what)]
        if unit is None and refused:
            return f"refused, {'; '.join(refused)}"
        return NO_ANSWER if self.asked is None or REQUESTS[what] in self.asked else NOT_ASKED

    def silent(self, unit: UnitRead | None = None) -> str:
        """Why a unit that another reading has is not here: nobody asked for what it told there, or it did not answer.

        None: why no unit is.
        """
        told = [what for what in REQUESTS if unit is not None and unit.tells(what)] or list(REQUESTS)
        is_unasked = all(self.asked is not None and REQUESTS[what] not in self.asked for what in told)
        return NOT_ASKED if is_unasked else NO_ANSWER

    def lacks(self, unit: UnitRead) -> dict[str, str]:
        """Keys of `REQUESTS` that a unit did not tell, with why; those that few units have are left out."""
        return {
            what: self.absent(what, unit) for what in REQUESTS if what not in (VOLTAGE, VIN) and not unit.tells(what)
        }

    @property
    def missing(self) -> dict[str, str]:
        """Keys of `REQUESTS` on which no unit said anything, with why; voltage, which not every vehicle has, is not."""
        keys = [what for what in REQUESTS if what != VOLTAGE and not any(unit.tells(what) for unit in self.units)]
        return {what: self.absent(what) for what in keys}

    @property
    def vins(self) -> tuple[str, ...]:
        """Each VIN given, once."""
        return tuple(dict.fromkeys(unit.vin for unit in self.units if unit.vin))

    @property
    def engine_runs(self) -> bool | None:
        """None where no unit tells an engine speed."""
        speeds = [unit.engine_rpm for unit in self.units if unit.engine_rpm is not None]
        return any(speed > 0 for speed in speeds) if speeds else None


class VehicleTally:
    """Gathers a `VehicleRead`."""

    def __init__(self) -> None:
        self._units: dict[str, UnitRead] = {}
        self._asked: set[str] = set()

    def asked(self, request: str) -> None:
        """Somebody asked: "03", "01 42"."""
        self._asked.add(request)

    def vin(self, unit: str, text: str, note: str) -> None:
        self._set(unit, vin=text, vin_note=note)

    def name(self, unit: str, text: str) -> None:
        self._set(unit, name=text)

    def pids(self, unit: str, numbers: Iterable[str]) -> None:
        """One list of supported PIDs; several may follow. Those that only announce a further list are left out."""
        known = self._unit(unit).pids or ()
        more = (number for number in numbers if int(number, 16) % 0x20)
        self._set(unit, pids=tuple(sorted({*known, *more})))

    def codes(self, unit: str, kind: str, codes: Iterable[str]) -> None:
        known = self._unit(unit).codes
        self._set(unit, codes=MappingProxyType({**known, kind: tuple(codes)}))

    def readiness(self, unit: str, readiness: Readiness) -> None:
        self._set(unit, readiness=readiness)

    def voltage(self, unit: str, volts: float) -> None:
        self._set(unit, voltage=volts)

    def engine_rpm(self, unit: str, rpm: float) -> None:
        self._set(unit, engine_rpm=rpm)

    def refusal(self, unit: str, text: str) -> None:
        known = self._unit(unit).refusals
        self._set(unit, refusals=tuple(dict.fromkeys((*known, text))))

    def result(self, bus: str, read_ns: int) -> VehicleRead:
        """What was gathered so far, by unit."""
        return VehicleRead(
            bus, read_ns, tuple(self._units[unit] for unit in sorted(self._units)), frozenset(self._asked)
        )

    def _unit(self, unit: str) -> UnitRead:
        return self._units.get(unit) or UnitRead(unit)

    def _set(self, unit: str, **what: object) -> None:
        self._units[unit] = replace(self._unit(unit), **what)  # type: ignore[arg-type]
