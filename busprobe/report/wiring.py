"""How the input boxes of a bench file are to be wired: box input, wire, signal, expected range.

input    line           wire                         signal     expected
-------  -------------  ---------------------------  ---------  --------------------------------
input 3  rear_door_pin  brown/white, rear door jamb  rear_door  box input low when on; wire * ..
"""

from __future__ import annotations

from collections.abc import Iterator

from busprobe.bench.model import Bench, InputBox, Line
from busprobe.bench.units import duration_text
from busprobe.report.cautions import caution_lines
from busprobe.report.table import Column, heading, paragraph, table
from busprobe.report.wiring_notes import BY_DRIVER, GENERAL, WIRE_NOTE
from busprobe.sources.modem_box import LINES

COLUMNS = (
    Column("input"),
    Column("line", wrap=18),
    Column("wire", wrap=30),
    Column("signal", wrap=18),
    Column("expected", wrap=34),
)
HIGH_LEVEL = "9 to 16 V"
"""Battery: range of supply code C of ISO 16750-2 (from memory)."""
LOW_LEVEL = "below 1 V"


def wiring_lines(bench: Bench) -> list[str]:
    """The note for whoever connects the boxes, with the usual cautions."""
    lines = [f"Wiring for {bench.vehicle}"]
    if not bench.boxes:
        return [*lines, "", "The bench file has no input box: nothing is to be wired."]
    lines += ["", *caution_lines()]
    for box in bench.boxes:
        lines += [*heading(_title(box)), "", *_lines_of(bench, box)]
        lines += _notes(BY_DRIVER.get(box.driver, ()))
    lines += [*heading("Every wire"), *_notes(GENERAL)]
    return lines


def _title(box: InputBox) -> str:
    where = f' on "{box.port}"' if box.port is not None else ""
    return f'Input box "{box.name}": {box.driver}{where}, every {duration_text(box.period_ns)}'


def _lines_of(bench: Bench, box: InputBox) -> list[str]:
    if not box.lines:
        return ["No line of it is in the bench file."]
    rows = [
        (_input(box, line), line.name, line.wiring or "-", ", ".join(_signals(bench, box, line)) or "-", expected(line))
        for line in sorted(box.lines, key=lambda line: (line.analogue, line.number))
    ]
    switched = any(not line.analogue for line in box.lines)
    return [*table(COLUMNS, rows), *(["", *paragraph(WIRE_NOTE)] if switched else [])]


def _input(box: InputBox, line: Line) -> str:
    """What is printed at the terminal of the box."""
    if line.analogue:
        return f"analogue {line.number}"
    if box.driver == "modem-lines" and line.number < len(LINES):
        return f"{LINES[line.number]} ({line.number})"
    return f"input {line.number}"


def _signals(bench: Bench, box: InputBox, line: Line) -> Iterator[str]:
    for signal in bench.signals:
        if any(tap.kind == "line" and (tap.owner, tap.message) == (box.name, line.name) for tap in signal.taps):
            yield signal.name


def expected(line: Line) -> str:
    """What the box input and a wire that goes to it without inversion are to be, against vehicle ground."""
    if line.analogue and line.above_mv is not None:
        below = line.above_mv if line.below_again_mv is None else line.below_again_mv
        return f"0 to 16 V; on above {_volts(line.above_mv)}, off below {_volts(below)}"
    if line.analogue:
        return "0 to 16 V, measured"
    if line.active_low:
        return f"box input low when on; wire * on: {LOW_LEVEL}, off: {HIGH_LEVEL}"
    return f"box input high when on; wire * on: {HIGH_LEVEL}, off: {LOW_LEVEL}"


def _volts(millivolts: int) -> str:
    return f"{millivolts / 1000:g} V"


def _notes(notes: tuple[str, ...]) -> list[str]:
    lines = [""]
    for note in notes:
        first, *rest = paragraph(note, indent=4)
        lines += [f"  - {first.strip()}", *rest]
    return lines if notes else []
