"""What OBD traffic showed, as a JSON object."""

from __future__ import annotations

from busprobe.analysis.obd_seen import CodeSeen, IdentitySeen, NegativeSeen, ObdSeen, ObdSummary, TesterSeen
from busprobe.report.as_json import Json, seconds
from busprobe.report.quantities import identifier

_VIN = 0x02


def obd_json(found: ObdSummary, start_ns: int) -> Json:
    """Everything seen; lists are empty where there was nothing."""
    return {
        "vin": [one.text for one in found.identities if one.infotype == _VIN],
        "identities": [_identity(one, start_ns) for one in found.identities],
        "codes": [_code(one, start_ns) for one in found.codes],
        "pids": [_value(one, start_ns) for one in found.values],
        "refusals": [_refusal(one, start_ns) for one in found.negatives],
        "testers": [_tester(one, start_ns) for one in found.testers],
        "incomplete_messages": found.broken,
        "malformed_answers": found.malformed,
    }


def _when(one: ObdSeen | CodeSeen | NegativeSeen | TesterSeen, start_ns: int) -> Json:
    return {"first_s": seconds(one.first_ns - start_ns), "last_s": seconds(one.last_ns - start_ns)}


def _identity(one: IdentitySeen, start_ns: int) -> Json:
    return {
        "channel": one.channel,
        "control_unit": one.control_unit,
        "information_type": f"{one.infotype:02X}",
        "title": one.title,
        "text": one.text,
        "note": one.note,
        "first_s": seconds(one.t_ns - start_ns),
    }


def _code(one: CodeSeen, start_ns: int) -> Json:
    return {
        "channel": one.channel,
        "control_unit": one.control_unit,
        "kind": one.kind,
        "code": one.code or None,
        "count": one.count,
        **_when(one, start_ns),
    }


def _value(one: ObdSeen, start_ns: int) -> Json:
    return {
        "channel": one.channel,
        "control_unit": one.control_unit,
        "service": f"{one.service:02X}",
        "pid": one.pid,
        "name": one.name,
        "title": one.title,
        "unit": one.unit or None,
        "count": one.count,
        **_when(one, start_ns),
        "first": one.first,
        "last": one.last,
        "least": one.least,
        "greatest": one.greatest,
    }


def _refusal(one: NegativeSeen, start_ns: int) -> Json:
    return {
        "channel": one.channel,
        "control_unit": one.control_unit,
        "service": f"{one.service:02X}",
        "code": f"{one.reason_code:02X}",
        "reason": one.reason,
        "count": one.count,
        **_when(one, start_ns),
    }


def _tester(one: TesterSeen, start_ns: int) -> Json:
    return {
        "channel": one.channel,
        "identifier": one.identifier,
        "hex": identifier(one.identifier, one.extended),
        "is_other_tester": not one.was_sent,
        "requests": one.requests,
        "per_second": one.per_second,
        "asked": list(one.pids),
        **_when(one, start_ns),
    }
