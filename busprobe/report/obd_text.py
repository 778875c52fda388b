"""What OBD traffic showed, as lines of text."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.analysis.obd_seen import CodeSeen, NegativeSeen, ObdSeen, ObdSummary, TesterSeen
from busprobe.report.quantities import count, counted, identifier, moment, value
from busprobe.report.table import Column, heading, paragraph, table

_VALUES = (
    Column("unit id"),
    Column("quantity"),
    Column("what", wrap=30),
    Column("answers", right=True),
    Column("first", right=True, wrap=18),
    Column("last", right=True, wrap=18),
    Column("least", right=True),
    Column("greatest", right=True),
    Column("unit"),
)


def obd_lines(found: ObdSummary, start_ns: int) -> list[str]:
    """Everything, or nothing where there was no OBD traffic."""
    if found.is_empty:
        return []
    lines = heading("OBD")
    for one in found.identities:
        note = f" ({one.note})" if one.note else ""
        lines += paragraph(f"{one.control_unit}  {one.title}: {one.text}{note}", width=96)
    for code in found.codes:
        lines.append(_code(code))
    for refusal in found.negatives:
        lines.append(_refusal(refusal))
    for tester in found.testers:
        lines += _tester(tester, start_ns)
    if found.broken:
        lines.append(f"{counted(found.broken, 'message')} of several frames begun and never completed")
    if found.malformed:
        lines.append(f"{counted(found.malformed, 'answer')} of a wrong length")
    if found.values:
        lines += ["", *table(_VALUES, [_value(one) for one in found.values])]
    return lines


def _value(one: ObdSeen) -> Sequence[str]:
    return (
        one.control_unit,
        f"{one.service:02X} {one.name}",
        one.title,
        count(one.count),
        value(one.first),
        value(one.last),
        value(one.least) if one.least is not None else "",
        value(one.greatest) if one.greatest is not None else "",
        one.unit,
    )


def _code(one: CodeSeen) -> str:
    told = f"{counted(one.count, 'time')}"
    if one.kind == "cleared":
        return f"{one.control_unit}  codes cleared ({told})"
    return f"{one.control_unit}  {one.kind} code {one.code or 'none'} ({told})"


def _refusal(one: NegativeSeen) -> str:
    return (
        f"{one.control_unit}  refused service {one.service:02X}: {one.reason} "
        f"(code {one.reason_code:02X}, {counted(one.count, 'time')})"
    )


def _tester(one: TesterSeen, start_ns: int) -> list[str]:
    who = "This machine" if one.was_sent else "Another tester"
    rate = f", {one.per_second:.3g} a second" if one.per_second is not None else ""
    return paragraph(
        f"{who} asks on {one.channel} as {identifier(one.identifier, one.extended)}: "
        f"{counted(one.requests, 'request')} from {moment(one.first_ns, start_ns)} to "
        f"{moment(one.last_ns, start_ns)}{rate}, for {asked_text(one.pids)}",
        width=96,
    )


def asked_text(asked: Sequence[str]) -> str:
    """What was asked for, each service once: "01 0C 0D 42; 03". asked: "01 0C", "01 0D", "01 42", "03"."""
    by_service: dict[str, list[str]] = {}
    for one in asked:
        service, *rest = one.split()
        by_service.setdefault(service, []).extend(rest)
    return "; ".join(" ".join([service, *rest]) for service, rest in by_service.items())
