"""`[record] marker_line = "box.button"`: a push button whose every press is logged as a marker."""

from __future__ import annotations

from dataclasses import replace

from busprobe.bench.model import Bench, Signal, Tap, Text, Trigger
from busprobe.bench.section import Section, error_at
from busprobe.errors import nearest

RECORD_KEYS = ("marker_line",)
MARKER_SIGNAL = "marker_button"
MARKER = "Marker"
"""What a press is called in the trigger log."""


def with_marker(root: Section, bench: Bench) -> Bench:
    """The bench with a signal and a trigger for the marker line, if it names one."""
    section = root.table("record", "[record]")
    if section is None:
        return bench
    section.refuse_unknown(RECORD_KEYS)
    name = section.text("marker_line")
    if name is None:
        return bench
    lines = {f"{box.name}.{line.name}": (box, line) for box in bench.boxes for line in box.lines}
    if name not in lines:
        raise section.error(f'There is no input line "{name}".{nearest(name, lines)}', "marker_line")
    box, line = lines[name]
    origin = section.origin("marker_line")
    tap = Tap("line", box.name, line.name, "")
    signal = next((s for s in bench.signals if s.taps == (tap,)), None)
    if signal is None:
        signal = Signal(MARKER_SIGNAL, (tap,), origin=origin)
        bench = replace(bench, signals=(*bench.signals, signal))
    taken = next((t for t in bench.triggers if t.name == MARKER), None)
    if taken is not None:
        raise error_at(taken.origin, f'The trigger "{MARKER}" is what marker_line logs: name this one otherwise.')
    trigger = Trigger(MARKER, Text(f"rises({signal.name})", origin), origin=origin, is_marker=True)
    return replace(bench, triggers=(*bench.triggers, trigger))
