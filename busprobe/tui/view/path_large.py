"""The Signal path in block letters, for the back of a room: bits, value and delay large."""

from __future__ import annotations

from busprobe.session.snapshot import ClosedBox, SignalPath, Snapshot, Stage
from busprobe.timeline import FALSE, TRUE
from busprobe.tui.view.closed_box import LARGE_ROWS, in_order, is_standing, passage
from busprobe.tui.view.closed_box import drawn as box_drawn
from busprobe.tui.view.path import BOX_HEIGHT, BOX_WIDTH, boxes_block
from busprobe.tui.view.path_stages import bit_lines, digits, said, spoken, stage_line, stages
from busprobe.tui.view.path_users import are_whole, shape, users_lines, users_rest
from busprobe.tui.view.room_text import Scale, drawn, fitting, parted
from busprobe.tui.view.spans import Line, Span, Tone

RAW_TO_VALUE = "Raw → value"
LARGE = ("Frame", "Bits", RAW_TO_VALUE, "Level", "Signal")
"""Stages that are drawn large where there is room; the last one is served first."""

ROOMY_HEIGHT = 30
"""Lines from which on the delay has room in block letters too."""

_INDENT = 3


def large_lines(path: SignalPath, picture: Snapshot, width: int, height: int, check: str | None = None) -> list[Line]:
    """The drawing; what does not fit large stays a line.

    Who uses the signal follows at its end, past `height` if need be.
    """
    steps = _joined(stages(path, picture))
    others = len(_others(path, picture, check))
    room = height - len(steps) - _box_room(path, picture, width, height, check)
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
    left = max(height - len(lines) - others, 1)
    lines += boxes_block(path, picture, width, check=check, is_low=height < BOX_HEIGHT, large_room=left)
    left = height - len(lines)
    if len(path.users) <= left:
        lines += users_lines(path.users, width, left)
    return lines if are_whole(path.users, width, left) else [*lines, *users_rest(path.users, width)]


def _joined(steps: list[Stage]) -> list[Stage]:
    """Raw and value as one stage."""
    out: list[Stage] = []
    for step in steps:
        if step.title == "Value" and out and out[-1].title == "Raw":
            out[-1] = Stage(RAW_TO_VALUE, f"{out[-1].text} → {step.text}", step.detail)
        else:
            out.append(step)
    return out


def _others(path: SignalPath, picture: Snapshot, check: str | None) -> list[ClosedBox]:
    """Boxes that take a line each."""
    return [box for box in in_order(path.boxes, picture, check)[1:] if not is_standing(box, picture)]


def _box_room(path: SignalPath, picture: Snapshot, width: int, height: int, check: str | None) -> int:
    """Lines kept for the controller: with the verdict large, where there is room the delay too; low: a line each."""
    if not path.boxes or height < BOX_HEIGHT or width < BOX_WIDTH:
        return len(path.boxes)
    says = passage(in_order(path.boxes, picture, check)[0], picture)
    return len(_others(path, picture, check)) + len(
        box_drawn(says, "", width, rows=LARGE_ROWS[-2 if height >= ROOMY_HEIGHT else -1])
    )


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
    if step.title == "Frame":
        return step.text, ""
    if step.title == RAW_TO_VALUE:
        return parted(step.text, _unit(step.text))
    bits = digits(path)
    first = len(bits) % 4
    groups = [bits[:first], *(bits[i : i + 4] for i in range(first, len(bits), 4))]
    return " ".join(group for group in groups if group), ""


def _unit(text: str) -> str | None:
    """The unit at the end of "900 → 90 °C"; None where the value is a label."""
    value = text.rpartition("→ ")[2]
    number, _, unit = value.partition(" ")
    return unit or None if number[:1] in "-0123456789" else None


def _large(step: Stage, path: SignalPath, picture: Snapshot, scale: Scale, *, first: bool) -> list[Line]:
    """A line that names the stage, and below it what it says in block letters."""
    is_signal = step.title == "Signal"
    front = Span("● " if first else "▼ ", Tone.HEAD)
    if is_signal:
        signal = path.signal
        told = spoken(signal, picture.t_ns, picture.start_ns)
        code = signal.code if signal.is_condition or signal.code > TRUE else None
        name = (Span(f"{signal.name} ", Tone.STRONG), shape(code, is_seen=signal.since_ns is not None))
        heading: Line = (front, *name, Span(f" {told}", Tone.DIM))
        if signal.code > TRUE:
            heading = (*heading, Span(f"   {signal.text}", Tone.WARN))
        tone = said(step, path)[0].tone
    else:
        heading = (front, Span(f"{step.title:<11} ", Tone.HEAD), Span(step.detail, Tone.DIM))
        tone = Tone.NOTE if step.code is None else Tone.PLAIN if step.code == FALSE else Tone.ON
    text, unit = _text(step, path)
    return [heading, *((Span(" " * _INDENT), *line) for line in drawn(text, unit, scale, tone))]
