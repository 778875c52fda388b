"""Reads a vehicle report that `--save` or `--json` wrote.

{ "format": "busprobe vehicle", "version": 1, "bus": "body", "read_ns": 1764057600000000000,
  "control_units": [ { "unit": "7E8", "vin": "A0TPV3D23TK000012",
                       "codes": { "stored": ["P0301"], "pending": [], "permanent": null }, .. } ] }
"""

from __future__ import annotations

import json
from pathlib import Path
from types import MappingProxyType
from typing import Any

from busprobe.analysis.vehicle import CODE_KINDS, Readiness, UnitRead, VehicleRead
from busprobe.errors import FormatError, OpenError
from busprobe.report.vehicle_json import FORMAT, VERSION

_HINT = 'Write one with "busprobe vehicle live --bench FILE --allow-requests --save FILE".'


def load_vehicle(path: Path) -> VehicleRead:
    """The reading in a file. Raises OpenError if there is none, FormatError if it is something else."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise OpenError("there is no such file.", path=path, hint=_HINT) from None
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no text"
        raise OpenError(f"it cannot be read: {reason}.", path=path, hint=_HINT) from error
    try:
        report = json.loads(text)
    except json.JSONDecodeError as error:
        raise FormatError(f"this is no JSON: {error.msg}.", path=path, line=error.lineno, hint=_HINT) from None
    if not isinstance(report, dict) or report.get("format") != FORMAT:
        raise FormatError("this is no vehicle report of busprobe.", path=path, hint=_HINT)
    if report.get("version") != VERSION:
        raise FormatError(
            f'version "{report.get("version")}" of the report is not known; {VERSION} is.', path=path, hint=_HINT
        )
    try:
        return _read(report)
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise FormatError(f"the report is damaged: {_what(error)}.", path=path, hint=_HINT) from error


def _read(report: dict[str, Any]) -> VehicleRead:
    asked = report.get("asked")
    return VehicleRead(
        str(report["bus"]),
        int(report["read_ns"]),
        tuple(_unit(one) for one in report["control_units"]),
        None if asked is None else frozenset(_texts(asked)),
    )


def _unit(one: dict[str, Any]) -> UnitRead:
    codes = {kind: _texts(one["codes"][kind]) for kind in CODE_KINDS if one["codes"][kind] is not None}
    return UnitRead(
        str(one["unit"]),
        str(one["name"]),
        str(one["vin"]),
        str(one["vin_note"]),
        None if one["pids"] is None else _texts(one["pids"]),
        MappingProxyType(codes),
        None if one["readiness"] is None else _readiness(one["readiness"]),
        _number(one["voltage_v"]),
        _number(one["engine_rpm"]),
        _texts(one["refusals"]),
    )


def _readiness(one: dict[str, Any]) -> Readiness:
    return Readiness(
        bool(one["lamp_on"]),
        int(one["codes_counted"]),
        _texts(one["supported"]),
        _texts(one["not_complete"]),
        str(one["ignition"]),
    )


def _texts(found: Any) -> tuple[str, ...]:
    if not isinstance(found, list):
        raise TypeError
    return tuple(str(text) for text in found)


def _number(found: Any) -> float | None:
    return None if found is None else float(found)


def _what(error: Exception) -> str:
    return f"{error} is missing" if isinstance(error, KeyError) else "it is not built as busprobe writes it"
