"""What differs between two readings of a vehicle, before and after equipment was fitted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from busprobe.analysis.vehicle import CODE_KINDS, Readiness, UnitRead, VehicleRead

NO_ANSWER = "no answer"


class Sameness(Enum):
    """Whether both readings are of one vehicle, by the VIN."""

    SAME = "same vehicle"
    OTHER = "another vehicle"
    UNKNOWN = "not known: no VIN in one of the readings"


class Weight(Enum):
    """What a change means for whoever hands the vehicle over."""

    WORSE = "worse"
    OPEN = "cannot be compared"
    """One of the readings lacks it."""
    CHANGED = "changed"
    BETTER = "better"


@dataclass(frozen=True)
class Change:
    """One thing that is not as it was."""

    unit: str
    what: str
    before: str
    now: str
    weight: Weight


@dataclass(frozen=True)
class Volts:
    """Battery voltage of one unit in both readings, V."""

    unit: str
    before: float
    now: float


@dataclass(frozen=True)
class Comparison:
    """Nothing is compared where the vehicle is another one."""

    before: VehicleRead
    sameness: Sameness
    changes: tuple[Change, ...] = ()
    volts: tuple[Volts, ...] = ()
    is_engine_alike: bool = True
    """The engine ran both times or stood both times, as far as known: voltages can be compared."""

    @property
    def exit_status(self) -> int:
        """0 nothing worse, 1 something worse, 2 nothing worse but something not comparable, 3 another vehicle."""
        weights = {change.weight for change in self.changes}
        if self.sameness is Sameness.OTHER:
            return 3
        return 1 if Weight.WORSE in weights else 2 if Weight.OPEN in weights else 0


def compare(before: VehicleRead, now: VehicleRead) -> Comparison:
    """What has changed from one reading to the other."""
    sameness = _sameness(before, now)
    if sameness is Sameness.OTHER:
        return Comparison(before, sameness)
    old = {unit.unit: unit for unit in before.units}
    new = {unit.unit: unit for unit in now.units}
    changes: list[Change] = []
    volts: list[Volts] = []
    for name in sorted({*old, *new}):
        earlier, later = old.get(name), new.get(name)
        if later is None:
            changes.append(Change(name, "control unit", "answers", NO_ANSWER, Weight.OPEN))
        elif earlier is None:
            changes.append(Change(name, "control unit", NO_ANSWER, "answers", Weight.CHANGED))
            changes += _codes(UnitRead(name), later)
        else:
            changes += _unit(earlier, later)
            if earlier.voltage is not None and later.voltage is not None:
                volts.append(Volts(name, earlier.voltage, later.voltage))
    is_alike = None in (before.engine_runs, now.engine_runs) or before.engine_runs == now.engine_runs
    return Comparison(before, sameness, tuple(changes), tuple(volts), is_alike)


def _sameness(before: VehicleRead, now: VehicleRead) -> Sameness:
    if not before.vins or not now.vins:
        return Sameness.UNKNOWN
    return Sameness.SAME if set(before.vins) & set(now.vins) else Sameness.OTHER


def _unit(before: UnitRead, now: UnitRead) -> list[Change]:
    return [*_codes(before, now), *_readiness(before, now), *_pids(before, now), *_voltage_lost(before, now)]


def _codes(before: UnitRead, now: UnitRead) -> Iterator[Change]:
    for kind in CODE_KINDS:
        if kind not in before.codes:
            for code in now.codes.get(kind, ()):
                yield Change(now.unit, f"{kind} code {code}", NO_ANSWER, "there", Weight.OPEN)
            continue
        old = before.codes[kind]
        if kind not in now.codes:
            yield Change(now.unit, f"{kind} codes", ", ".join(old) or "none", NO_ANSWER, Weight.OPEN)
            continue
        new = now.codes[kind]
        for code in new:
            if code not in old:
                yield Change(now.unit, f"{kind} code {code}", "not there", "there", Weight.WORSE)
        for code in old:
            if code not in new:
                yield Change(now.unit, f"{kind} code {code}", "there", "not there", Weight.BETTER)


def _readiness(before: UnitRead, now: UnitRead) -> Iterator[Change]:
    old, new = before.readiness, now.readiness
    if old is None or new is None:
        if old is not None:
            yield Change(now.unit, "readiness", _told(old), NO_ANSWER, Weight.OPEN)
        return
    if old.lamp_on != new.lamp_on:
        weight = Weight.WORSE if new.lamp_on else Weight.BETTER
        yield Change(now.unit, "malfunction lamp", _on(old.lamp_on), _on(new.lamp_on), weight)
    for name in old.complete:
        if name in new.not_complete:
            yield Change(now.unit, f"readiness: {name}", "complete", "not complete", Weight.WORSE)
    for name in new.complete:
        if name in old.not_complete:
            yield Change(now.unit, f"readiness: {name}", "not complete", "complete", Weight.BETTER)


def _pids(before: UnitRead, now: UnitRead) -> Iterator[Change]:
    if before.pids is None or now.pids is None or before.pids == now.pids:
        return
    gone = [pid for pid in before.pids if pid not in now.pids]
    come = [pid for pid in now.pids if pid not in before.pids]
    yield Change(now.unit, "supported PIDs", " ".join(gone) or "-", " ".join(come) or "-", Weight.CHANGED)


def _voltage_lost(before: UnitRead, now: UnitRead) -> Iterator[Change]:
    if before.voltage is not None and now.voltage is None:
        yield Change(now.unit, "battery voltage", f"{before.voltage:.2f} V", NO_ANSWER, Weight.OPEN)


def _told(readiness: Readiness) -> str:
    return f"{len(readiness.complete)} of {len(readiness.supported)} complete"


def _on(is_on: bool) -> str:
    return "on" if is_on else "off"
