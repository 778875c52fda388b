"""The Signal path in block letters, for the back of a room: bits, value and delay large."""

from __future__ import annotations

from busprobe.session.snapshot import SignalPath, Snapshot, Stage
from busprobe.timeline import FALSE, TRUE
from busprobe.tui.view.path import (
    bit_lines,
    boxes_block,
    digits,
    said,
    shape,
    spoken,
    stage_line,
    stages,
    users_lines,
)
from busprobe.tui.view.room_text import Scale, drawn, fitting, parted
from busprobe.tui.view.spans import Line, Span, Tone

LARGE = ("Bits", "Level", "Signal")
"""Stages that are drawn large where there is room; the last one is served first."""

_INDENT = 3


def large_lines(path: SignalPath, picture: Snapshot, width: int, height: int) -> list[Line]:
    """The drawing; what does not fit large stays a line."""
    steps = stages(path)
    users = users_lines(path.users, width, min(4, height - 22)) if height > 24 else []
    room = height - len(steps) - len(users) - _box_room(path, height)
    scales = _scales(steps, path, width - _INDENT, room)
    room -= sum(scale.height for scale in scales.values())
    own_bits = bit_lines(path, width, own_only=True)
    lines: list[Line] = []
    for i, step in enumerate(steps):
        if i not in scales:
            lines.append(stage_line(step, path, picture, width, first=i == 0))
        else:
            lines += _large(step, path, picture, scales[i], first=i == 0)
        if step.title == "Bits" and room >= len(own_bits):
            lines += own_bits
    lines += users
    return [*lines, *boxes_block(path, picture, width, height - len(lines), large=True)]


def _box_room(path: SignalPath, height: int) -> int:
    """Lines kept for the controller: with a large delay, as a box, as a line."""
    if not path.boxes:
        return 0
    return len(path.boxes) + (8 if height >= 30 else 4 if height >= 20 else 0)


def _scales(steps: list[Stage], path: SignalPath, width: int, room: int) -> dict[int, Scale]:
    """Stage number -> scale. Each gets the next larger one in turn, the signal first."""
    wanted = [i for i in range(len(steps) - 1, -1, -1) if steps[i].title in LARGE]
    scales: dict[int, Scale] = {}
    for highest in (3, 5, 10):
        for i in wanted:
            have = scales[i].height if i in scales else 0
            scale = fitting(*_text(steps[i], path), width, min(room + have, highest))
            if scale is not None and scale.height >= have:
                room -= scale.height - have
                scales[i] = scale
    return scales


def _text(step: Stage, path: SignalPath) -> tuple[str, str]:
    """What is drawn large, and its unit; bits in groups of four from the right."""
    if step.title == "Signal":
        return parted(path.signal.text, path.signal.unit)
    if step.title == "Level":
        return step.text.split(" (")[0], ""
    bits = digits(path)
    first = len(bits) % 4
    groups = [bits[:first], *(bits[i : i + 4] for i in range(first, len(bits), 4))]
    return " ".join(group for group in groups if group), ""


def _large(step: Stage, path: SignalPath, picture: Snapshot, scale: Scale, *, first: bool) -> list[Line]:
    """A line that names the stage, and below it what it says in block letters."""
    is_signal = step.title == "Signal"
    front = Span("● " if first else "▼ ", Tone.HEAD)
    if is_signal:
        signal = path.signal
        told = spoken(signal, picture.t_ns, picture.start_ns)
        is_shaped = signal.is_condition or signal.code > TRUE
        name = (Span(f"{signal.name} ", Tone.STRONG), shape(signal.code if is_shaped else None))
        heading: Line = (front, *name, Span(f" {told}", Tone.DIM))
        if signal.code > TRUE:
            heading = (*heading, Span(f"   {signal.text}", Tone.WARN))
        tone = said(step, path)[0].tone
    else:
        heading = (front, Span(f"{step.title:<11} ", Tone.HEAD), Span(step.detail, Tone.DIM))
        tone = Tone.NOTE if step.code is None else Tone.PLAIN if step.code == FALSE else Tone.ON
    text, unit = _text(step, path)
    return [heading, *((Span(" " * _INDENT), *line) for line in drawn(text, unit, scale, tone))]
