"""A vehicle's VIN, codes, readiness and voltage as lines of text; what has changed since before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from busprobe.analysis.vehicle import CODE_KINDS, NOT_ASKED, READINESS, REQUESTS, VIN, UnitRead, VehicleRead
from busprobe.analysis.vehicle_changes import Comparison, Sameness
from busprobe.health import OtherTester
from busprobe.report.quantities import counted, identifier, wall
from busprobe.report.table import Column, heading, paragraph, table
from busprobe.report.vehicle_report import EMISSION_ONLY, NOTHING_CLEARED, VehicleReport

WIDTH = 96
LAST_11 = 0x7FF
ASKED_SHOWN = 12
"""Different requests of another tester that are shown; the JSON file has all."""

_UNITS = (
    Column("unit id"),
    Column("name", wrap=20),
    *(Column(kind, wrap=18) for kind in CODE_KINDS),
    Column("lamp"),
    Column("readiness", wrap=17),
    Column("battery", right=True),
    Column("engine", right=True),
)
_CHANGES = (Column("unit id"), Column("what", wrap=32), Column("before", wrap=18), Column("now", wrap=18), Column(""))
_SHORTFALLS = (Column("asked"), Column("unit id"), Column("", wrap=70))


def vehicle_lines(report: VehicleReport) -> list[str]:
    """The whole report."""
    return [
        *_head(report),
        *(_units(report.read) if report.read.units else ["", "No control unit said anything."]),
        *_details(report.read.units),
        *_shortfalls(report),
        *(_tester(report.tester) if report.tester is not None else []),
        *(_compared(report.comparison, report.against) if report.comparison is not None else []),
        *_closing(report),
    ]


def _head(report: VehicleReport) -> list[str]:
    read = report.read
    asked = f", {counted(report.requests, 'request')} sent" if report.requests else ", nothing was sent"
    rows = [
        ("Vehicle", report.vehicle),
        ("Read", f"{report.source}, bus {read.bus}{asked}"),
        ("At", wall(read.read_ns) or ""),
    ]
    notes = {unit.vin: unit.vin_note for unit in reversed(read.units)}
    rows += [("VIN", f"{vin} ({notes[vin]})") for vin in read.vins] or [(VIN, read.absent(VIN))]
    return [f"{name:<8} {text}" for name, text in rows if text]


def _units(read: VehicleRead) -> list[str]:
    return [*heading("Control units and trouble codes"), *table(_UNITS, [_unit(read, one) for one in read.units])]


def _unit(read: VehicleRead, one: UnitRead) -> Sequence[str]:
    ready = one.readiness
    return (
        one.unit,
        one.name,
        *(_codes(read, one, kind) for kind in CODE_KINDS),
        "" if ready is None else "ON" if ready.lamp_on else "off",
        read.absent(READINESS, one) if ready is None else f"{len(ready.complete)} of {len(ready.supported)} complete",
        "" if one.voltage is None else f"{one.voltage:z.2f} V",
        "" if one.engine_rpm is None else f"{one.engine_rpm:.0f} rpm",
    )


def _codes(read: VehicleRead, one: UnitRead, kind: str) -> str:
    codes = one.codes.get(kind)
    return read.absent(f"{kind} codes", one) if codes is None else " ".join(codes) or "none"


def _details(units: Sequence[UnitRead]) -> list[str]:
    lines: list[str] = []
    for one in units:
        if one.readiness is not None and one.readiness.not_complete:
            lines += _said(one, f"not complete: {', '.join(one.readiness.not_complete)}")
        if one.pids is not None:
            lines += _said(one, f"PIDs: {' '.join(one.pids) or 'none'}")
        by_reason: dict[str, list[str]] = {}
        for request, _, reason in (refusal.partition(": ") for refusal in one.refusals):
            by_reason.setdefault(reason, []).append(request)
        for reason, requests in by_reason.items():
            lines += _said(one, f"refused {', '.join(requests)}: {reason}")
    return ["", *lines] if lines else []


def _said(one: UnitRead, text: str) -> list[str]:
    first, *rest = paragraph(text, width=WIDTH - len(one.unit) - 2)
    return [f"{one.unit}  {first}", *(" " * (len(one.unit) + 2) + line for line in rest)]


def _shortfalls(report: VehicleReport) -> list[str]:
    if not report.shortfalls:
        return []
    rows = [(one.asked, one.unit or "all", one.what) for one in report.shortfalls]
    return [*heading("What did not come"), *table(_SHORTFALLS, rows)]


def _tester(one: OtherTester) -> list[str]:
    return [*heading("Another tester"), *paragraph(who_asks(one), width=WIDTH)]


def who_asks(one: OtherTester) -> str:
    """Who else asks, how often and for what."""
    if not one.requests and one.stray_answers:
        strays = counted(one.stray_answers, "frame")
        return f"Answers that nobody asked for on this bus were heard ({strays}): it asks behind a gateway."
    ids = ", ".join(identifier(number, number > LAST_11) for number in one.identifiers)
    if not one.requests:
        return f"It was heard as {ids}, in the midst of an answer; no request of it was."
    rate = f", {one.per_second:.3g} a second" if one.per_second is not None else ""
    further = one.further(ASKED_SHOWN)
    more = f" and {further} more" if further else ""
    asked = "; ".join(one.asked[:ASKED_SHOWN])
    return f"It asks as {ids}: {counted(one.requests, 'request')}{rate}, for {asked}{more}."


def _compared(found: Comparison, against: str) -> list[str]:
    lines = heading(f"Compared with {against}")
    before_at = wall(found.before.read_ns)
    if before_at is not None:
        lines.append(f"Read {before_at}.")
    if found.sameness is Sameness.OTHER:
        vin = ", ".join(found.before.vins)
        return [
            *lines,
            *paragraph(f"The VIN was {vin} there: it is another vehicle, nothing is compared.", width=WIDTH),
        ]
    if found.sameness is Sameness.UNKNOWN:
        lines.append("No VIN in one of the readings: nothing says that it is the same vehicle.")
    rows = [(one.unit, one.what, one.before, one.now, one.weight.value) for one in found.changes]
    lines += table(_CHANGES, rows) if rows else ["No change in codes, lamp, readiness and PIDs."]
    return [*lines, *_volts(found), *_reset(found), *_left_open(found), *_neither(found)]


def _left_open(found: Comparison) -> list[str]:
    if not found.left_open:
        return []
    text = f"Could not be compared: {', '.join(found.left_open)}. Of these nothing says that they are as before."
    return paragraph(text, width=WIDTH)


def _neither(found: Comparison) -> list[str]:
    """What the units did not say either time."""
    rows = [
        (one.unit, one.what, one.now if one.now == one.before else f"{one.before} before, {one.now} now")
        for one in found.in_neither
    ]
    return ["In neither reading, so not compared:", *_missing(rows)] if rows else []


def _missing(rows: Iterable[tuple[str, str, str]]) -> list[str]:
    """Lines by control unit on what is missing and why. rows: unit, or empty for all; what; why."""
    names: dict[tuple[str, str], list[str]] = {}
    for unit, what, why in rows:
        names.setdefault((unit or "all", why), []).append(f"{what} ({REQUESTS[what]})")
    lines = []
    for (unit, why), whats in names.items():
        first, *rest = paragraph(f"{', '.join(whats)}: {why}", width=WIDTH - len(unit) - 4)
        lines += [f"  {unit}  {first}", *(" " * (len(unit) + 4) + line for line in rest)]
    return lines


def saved_lines(report: VehicleReport, path: Path) -> list[str]:
    """Where the reading was saved, and what a comparison with it will lack."""
    read, lines = report.read, [f"Saved in {path}."]
    rows = [(unit.unit, what, why) for unit in read.units for what, why in read.lacks(unit).items()]
    rows += [("", what, why) for what, why in read.missing.items() if what == VIN or not read.units]
    if rows:
        lines += ["The saved reading is incomplete:", *_missing(rows)]
    if NOT_ASKED in read.missing.values() and report.tester is not None:
        text = "Another tester asked: unplug it and save once more, under another name, before the installation."
        lines += paragraph(text, width=WIDTH)
    return lines


def _volts(found: Comparison) -> list[str]:
    shown = [(one.unit, round(one.before, 2), round(one.now, 2)) for one in found.volts]
    lines = [
        f"{unit}  battery {before:.2f} V before, {now:.2f} V now, difference {now - before:+z.2f} V"
        for unit, before, now in shown
    ]
    if lines and not found.is_engine_alike:
        lines += paragraph("The engine ran at only one of the readings: the voltages cannot be compared.", width=WIDTH)
    return lines


def _reset(found: Comparison) -> list[str]:
    """What a reset of readiness usually comes from."""
    if not any(one.what.startswith("readiness: ") and one.now == "not complete" for one in found.changes):
        return []
    text = (
        "Monitors that were complete and are not any more: codes were cleared or the battery was disconnected "
        "(common practice, no source). They complete again by driving; an emission test may have to wait for it."
    )
    return paragraph(text, width=WIDTH)


def _closing(report: VehicleReport) -> list[str]:
    texts = [*report.notes, EMISSION_ONLY, NOTHING_CLEARED]
    return ["", *(line for text in texts for line in paragraph(text, width=WIDTH))]
