"""A vehicle as read, as a JSON object: written for `--json` and `--save`, read back for `--against`."""

from __future__ import annotations

from busprobe.analysis.vehicle import CODE_KINDS, Readiness, UnitRead
from busprobe.analysis.vehicle_changes import Comparison
from busprobe.health import OtherTester
from busprobe.report.as_json import Json, problems_json
from busprobe.report.quantities import identifier, wall
from busprobe.report.vehicle_report import EMISSION_ONLY, VehicleReport

FORMAT = "busprobe vehicle"
VERSION = 1
"""Of the keys that `vehicle_saved` reads."""
LAST_11 = 0x7FF


def vehicle_json(report: VehicleReport) -> Json:
    """The whole report; what is missing is null or an empty list."""
    read = report.read
    return {
        "format": FORMAT,
        "version": VERSION,
        "vehicle": report.vehicle,
        "source": report.source,
        "bus": read.bus,
        "read_ns": read.read_ns,
        "read_at": wall(read.read_ns),
        "requests": report.requests,
        "exit_status": report.exit_status,
        "vin": list(read.vins),
        "asked": None if read.asked is None else sorted(read.asked),
        "missing": read.missing,
        "control_units": [_unit(one, read.lacks(one)) for one in read.units],
        "not_answered": [{"asked": s.asked, "unit": s.unit or None, "what": s.what} for s in report.shortfalls],
        "other_tester": _tester(report.tester) if report.tester is not None else None,
        "compared": _compared(report.comparison, report.against) if report.comparison is not None else None,
        "problems": problems_json(report.problems) if report.problems is not None else None,
        "notes": [*report.notes, EMISSION_ONLY],
    }


def _unit(one: UnitRead, missing: dict[str, str]) -> Json:
    return {
        "unit": one.unit,
        "name": one.name,
        "vin": one.vin,
        "vin_note": one.vin_note,
        "pids": None if one.pids is None else list(one.pids),
        "codes": {kind: list(one.codes[kind]) if kind in one.codes else None for kind in CODE_KINDS},
        "readiness": _readiness(one.readiness) if one.readiness is not None else None,
        "voltage_v": one.voltage,
        "engine_rpm": one.engine_rpm,
        "refusals": list(one.refusals),
        "missing": missing,
    }


def _readiness(one: Readiness) -> Json:
    return {
        "lamp_on": one.lamp_on,
        "codes_counted": one.codes_counted,
        "ignition": one.ignition,
        "supported": list(one.supported),
        "not_complete": list(one.not_complete),
    }


def _tester(one: OtherTester) -> Json:
    return {
        "identifiers": [identifier(number, number > LAST_11) for number in one.identifiers],
        "requests": one.requests,
        "per_second": one.per_second,
        "asked": list(one.asked),
        "stray_answers": one.stray_answers,
    }


def _compared(found: Comparison, against: str) -> Json:
    return {
        "against": against,
        "sameness": found.sameness.value,
        "vin_before": list(found.before.vins),
        "read_before_ns": found.before.read_ns,
        "changes": [
            {"unit": one.unit, "what": one.what, "before": one.before, "now": one.now, "weight": one.weight.value}
            for one in found.changes
        ],
        "voltage": [
            {"unit": one.unit, "before_v": one.before, "now_v": one.now, "difference_v": round(one.now - one.before, 3)}
            for one in found.volts
        ],
        "in_neither": [
            {"unit": one.unit or None, "what": one.what, "before": one.before, "now": one.now}
            for one in found.in_neither
        ],
        "engine_alike": found.is_engine_alike,
    }
