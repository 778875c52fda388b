"""What differs between two readings of a vehicle, before and after equipment was fitted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from busprobe.analysis.vehicle import (
    CODE_KINDS,
    NOT_ASKED,
    READINESS,
    REQUESTS,
    VIN,
    VOLTAGE,
    UnitRead,
    VehicleRead,
)


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
class Lack:
    """Something that neither reading tells, and why."""

    unit: str
    """Empty: of the vehicle as a whole."""
    what: str
    before: str
    now: str


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
    in_neither: tuple[Lack, ...] = ()
    """What neither reading tells of a unit that both have, or of the vehicle, though it was asked for."""
    is_engine_alike: bool = True
    """The engine ran both times or stood both times, as far as known: voltages can be compared."""

    @property
    def left_open(self) -> tuple[str, ...]:
        """What could not be compared, with the units: "stored codes (7E8, 7E9)"."""
        units: dict[str, list[str]] = {}
        for change in self.changes:
            if change.weight is Weight.OPEN:
                units.setdefault(change.what, []).append(change.unit)
        return tuple(what + f" ({', '.join(names)})" * any(names) for what, names in units.items())

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
    changes = list(_whole(before, now))
    lacking = list(_vin_twice(before, now))
    volts: list[Volts] = []
    for name in sorted({*old, *new}):
        earlier, later = old.get(name), new.get(name)
        if earlier is not None and later is None:
            changes.append(Change(name, "control unit", "answers", now.silent(earlier), Weight.OPEN))
        elif later is not None and earlier is None:
            why = before.silent(later)
            changes.append(Change(name, "control unit", why, "answers", Weight.OPEN))
            changes += _unmatched_codes(later, why)
        elif earlier is not None and later is not None:
            changes += [*_unit(earlier, later), *_open(before, earlier, now, later)]
            lacking += _neither(before, earlier, now, later)
            if earlier.voltage is not None and later.voltage is not None:
                volts.append(Volts(name, earlier.voltage, later.voltage))
    is_alike = None in (before.engine_runs, now.engine_runs) or before.engine_runs == now.engine_runs
    return Comparison(before, sameness, tuple(changes), tuple(volts), tuple(lacking), is_alike)


def _sameness(before: VehicleRead, now: VehicleRead) -> Sameness:
    if not before.vins or not now.vins:
        return Sameness.UNKNOWN
    return Sameness.SAME if set(before.vins) & set(now.vins) else Sameness.OTHER


def _whole(before: VehicleRead, now: VehicleRead) -> Iterator[Change]:
    """What lacks its counterpart whichever unit tells it."""
    if not before.units and not now.units:
        yield Change("", "control units", before.silent(), now.silent(), Weight.OPEN)
    elif _is_open((before, bool(before.vins)), (now, bool(now.vins)), VIN):
        old, new = (", ".join(read.vins) or read.absent(VIN) for read in (before, now))
        yield Change("", VIN, old, new, Weight.OPEN)


def _is_open(before: tuple[VehicleRead, bool], now: tuple[VehicleRead, bool], what: str) -> bool:
    """One reading tells it and the other does not, or neither does and it was not asked for in one.

    Asked for both times and never answered, the vehicle does not have it: nothing is left open.
    """
    if before[1] or now[1]:
        return before[1] != now[1]
    return any(read.absent(what) == NOT_ASKED for read, _ in (before, now))


def _open(before: VehicleRead, earlier: UnitRead, now: VehicleRead, later: UnitRead) -> Iterator[Change]:
    """What one unit told in one of the readings only, or was not asked for."""
    for what in REQUESTS:
        if what == VIN or not _is_open((before, earlier.tells(what)), (now, later.tells(what)), what):
            continue
        if what == VOLTAGE and not (earlier.tells(what) or later.tells(what)):
            continue  # few units have it
        old, new = (_value(unit, what) or read.absent(what, unit) for read, unit in ((before, earlier), (now, later)))
        yield Change(later.unit, what, old, new, Weight.OPEN)


def _neither(before: VehicleRead, earlier: UnitRead, now: VehicleRead, later: UnitRead) -> Iterator[Lack]:
    """What one unit was asked for both times and told neither time."""
    old, new = before.lacks(earlier), now.lacks(later)
    for what in new:
        if what in old and not _is_open((before, False), (now, False), what):
            yield Lack(later.unit, what, old[what], new[what])


def _vin_twice(before: VehicleRead, now: VehicleRead) -> Iterator[Lack]:
    if before.units and now.units and not (before.vins or now.vins or _is_open((before, False), (now, False), VIN)):
        yield Lack("", VIN, before.absent(VIN), now.absent(VIN))


def _value(unit: UnitRead, what: str) -> str:
    """What a unit told on a key of `REQUESTS`, in short; empty where it told nothing."""
    if not unit.tells(what):
        return ""
    if unit.readiness is not None and what == READINESS:
        lamp = ", lamp ON" if unit.readiness.lamp_on else ""
        return f"{len(unit.readiness.complete)} of {len(unit.readiness.supported)} complete{lamp}"
    if unit.voltage is not None and what == VOLTAGE:
        return f"{unit.voltage:.2f} V"
    return ", ".join(unit.codes[what.removesuffix(" codes")]) or "none"


def _unmatched_codes(now: UnitRead, why: str) -> Iterator[Change]:
    """Codes of a unit that was not heard before. why: it was not."""
    for kind, codes in now.codes.items():
        for code in codes:
            yield Change(now.unit, f"{kind} code {code}", why, "there", Weight.OPEN)


def _unit(before: UnitRead, now: UnitRead) -> list[Change]:
    return [*_codes(before, now), *_readiness(before, now), *_pids(before, now)]


def _codes(before: UnitRead, now: UnitRead) -> Iterator[Change]:
    for kind in CODE_KINDS:
        if kind not in before.codes or kind not in now.codes:
            continue
        old, new = before.codes[kind], now.codes[kind]
        for code in new:
            if code not in old:
                yield Change(now.unit, f"{kind} code {code}", "not there", "there", Weight.WORSE)
        for code in old:
            if code not in new:
                yield Change(now.unit, f"{kind} code {code}", "there", "not there", Weight.BETTER)


def _readiness(before: UnitRead, now: UnitRead) -> Iterator[Change]:
    old, new = before.readiness, now.readiness
    if old is None or new is None:
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


def _on(is_on: bool) -> str:
    return "on" if is_on else "off"
