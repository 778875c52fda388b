"""The Signal path screen: everything from the wire to the lamp for one signal, as drawn lines."""

from __future__ import annotations

import re
from collections.abc import Sequence

from busprobe.results import CheckResult
from busprobe.session.snapshot import NOT_SEEN, ClosedBox, Kind, SignalNow, SignalPath, Snapshot, Stage
from busprobe.timeline import ASLEEP, TRUE, UNKNOWN
from busprobe.tui.view.bit_grid import Drawn, grid, part_notes
from busprobe.tui.view.boxes import beside, box
from busprobe.tui.view.closed_box import drawn, in_one_line, in_order, is_standing, largest, passage
from busprobe.tui.view.path_users import shape, users_block, users_lines, users_rest
from busprobe.tui.view.spans import Column, Line, Row, Span, Tone, cell, fit, matches, width_of
from busprobe.tui.view.times import clock, span
from busprobe.tui.view.values import excuse_sign, value_cell

ROOMY = (100, 30)
"""Columns and lines from which on every stage has a box of its own."""
BOX_HEIGHT, BOX_WIDTH = 18, 64
"""Lines and columns from which on the controller is drawn between its edges."""
LEAST_USERS = 2
"""Lines for those who use the signal, however little room there is."""
TEXT_WIDTH, GAP = 24, "  "
"""Columns of what a stage says, and what stands between it and how it comes about."""

PICKER_COLUMNS = (Column("Signal", 16, grow=1), Column("Value", 10, grow=1, drop=1))


def picker_rows(signals: Sequence[SignalNow], words: str = "") -> list[Row]:
    """A row a signal, for choosing one; words: a filter over name, role and source."""
    return [
        Row(signal.name, (cell(signal.name), value_cell(signal)))
        for signal in signals
        if matches(words, signal.name, signal.role or "", signal.source)
    ]


def neighbour(signals: Sequence[SignalNow], name: str | None, step: int) -> str | None:
    """The signal `step` places on from this one, round the end; None: there are none."""
    names = [signal.name for signal in signals]
    if not names:
        return None
    if name not in names:
        return names[0]
    return names[(names.index(name) + step) % len(names)]


def title(
    signals: Sequence[SignalNow], name: str | None, boxes: Sequence[ClosedBox] = (), check: str | None = None
) -> str:
    """What the drawing says over its edge, and the keys that change it. check: the one drawn."""
    for place, signal in enumerate(signals, 1):
        if signal.name == name:
            role = f", role {signal.role}" if signal.role else ""
            names = [box.check for box in boxes]
            which = f" · n check {names.index(check) + 1} of {len(names)}" if check in names and len(names) > 1 else ""
            return f"{name}{role} · {place} of {len(signals)} · ↑↓ others · p pick · l large{which}"
    return "Signal path"


_WORDS = re.compile(r"'[^']*'|\"[^\"]*\"|([A-Za-z_]\w*)")
"""Words of an expression, those in quotes skipped."""


def _named(text: str, signals: Sequence[SignalNow]) -> list[SignalNow]:
    """The signals that an expression names, in its order."""
    by_name = {signal.name: signal for signal in signals}
    words = dict.fromkeys(found[1] for found in _WORDS.finditer(text))
    return [by_name[word] for word in words if word in by_name]


def signal_of(check: CheckResult, signals: Sequence[SignalNow], chosen: str | None) -> str | None:
    """The signal whose path tells of a check: the one chosen where it is in it, else the first that it names."""
    names = [signal.name for signal in _named(f"{check.when} {check.expected}", signals)]
    return chosen if chosen in names or not names else names[0]


def digits(path: SignalPath) -> str:
    """The signal's bits in its payload, most significant first; "." for bits past its end; empty without a frame."""
    payload = path.payload
    if payload is None:
        return ""
    return "".join(str(payload[b // 8] >> b % 8 & 1) if b // 8 < len(payload) else "." for b in path.bits)


def stages(path: SignalPath, picture: Snapshot) -> list[Stage]:
    """The steps up to the signal; its last stage is what the signal says, in words of its own.

    Of a derived signal what it is made from, each with what it says now.
    """
    steps = [step for step in path.stages if step.title != "Signal"]
    if path.signal.kind is Kind.DERIVED:
        steps += [_operand(signal) for signal in _named(path.signal.source, picture.signals)]
    return [*steps, Stage("Signal", path.signal.text, path.signal.name, path.signal.code)]


def _operand(signal: SignalNow) -> Stage:
    is_shaped = signal.is_condition or signal.code > TRUE
    return Stage("Operand", f"{signal.name}: {signal.text}", signal.source, signal.code if is_shaped else None)


def spoken(signal: SignalNow, t_ns: int, start_ns: int) -> str:
    """Since when a signal says what it says: "since 03:12.4, for 8.1 s; 15 edges"."""
    if signal.since_ns is None:
        return "nothing seen yet"
    edges = f"{signal.edges:,} edge{'' if signal.edges == 1 else 's'}"
    return f"since {clock(signal.since_ns - start_ns)}, for {span(max(t_ns - signal.since_ns, 0))}; {edges}"


def path_lines(
    path: SignalPath | None,
    picture: Snapshot,
    width: int,
    height: int,
    *,
    chosen: str | None = None,
    check: str | None = None,
) -> list[Line]:
    """The whole drawing; longer than `height` where much uses the signal: what has no room follows at the end.

    chosen: a signal without a path. check: whose way through the controller is drawn; None: see `in_order`.
    """
    if path is None and chosen is not None:
        return [(Span("Nothing is known of its way yet. Up and Down go to other signals.", Tone.DIM),)]
    if path is None:
        return [(Span("Choose a signal: Up and Down go through them, p lists them.", Tone.DIM),)]
    if width >= ROOMY[0] and height >= ROOMY[1]:
        return _roomy(path, picture, width, height, check)
    return _compact(path, picture, width, height, check)


# --- every stage in a box, bits and users beside them


def _roomy(path: SignalPath, picture: Snapshot, width: int, height: int, check: str | None) -> list[Line]:
    left_width = min(width * 27 // 50, 64)
    right_width = width - left_width - 2
    left: list[Line] = []
    steps = stages(path, picture)
    for i, step in enumerate(steps):
        left += stage_box(step, path, picture, left_width, first=i == 0, last=i == len(steps) - 1)
    bits = bit_lines(path, right_width)
    controller = boxes_block(path, picture, width, check=check)
    room = max(len(left), height - len(controller)) - len(bits) - 1
    right = [*bits, (), *users_block(path.users, right_width, room)]
    return [*beside(left, right, left_width), *controller, *users_rest(path.users, width, room - 1)]


def stage_box(step: Stage, path: SignalPath, picture: Snapshot, width: int, *, first: bool, last: bool) -> list[Line]:
    """One stage, with the arrow that comes from the one above."""
    is_signal = step.title == "Signal"
    name = f"Signal {path.signal.name}" if is_signal else step.title
    detail = spoken(path.signal, picture.t_ns, picture.start_ns) if is_signal else step.detail
    inside = [said(step, path), (Span(detail, Tone.DIM),)]
    return box(name, inside, width, arrow_in=not first, arrow_out=not last)


def said(step: Stage, path: SignalPath) -> Line:
    """What a stage says; a shape before it where it is a condition."""
    if step.title == "Signal":
        signal = path.signal
        is_known = signal.code == TRUE and not signal.is_condition
        return cell(signal.text, Tone.STRONG) if is_known else value_cell(signal)
    if step.title == "Frame" and path.payload is not None and step.text == path.payload.hex(" ").upper():
        return tuple(_own_bytes(path.payload, {bit // 8 for bit in path.bits}))
    if step.code is None:
        return (Span(step.text, Tone.STRONG),)
    sign = shape(step.code, is_seen=NOT_SEEN not in step.text)
    if step.title == "Freshness" and step.code == TRUE:
        sign = Span("✓", Tone.GOOD)
    elif step.title == "Freshness" and step.code == ASLEEP:
        sign = Span(excuse_sign(path.signal), Tone.DIM)
    return sign, Span(" "), Span(step.text, Tone.STRONG if step.code < UNKNOWN else Tone.WARN)


def _own_bytes(payload: bytes, own: set[int]) -> list[Span]:
    """The payload in hex; a mark before each byte that the signal is in."""
    return [
        Span(f"▸{value:02X}", Tone.NOTE) if place in own else Span(f" {value:02X}")
        for place, value in enumerate(payload)
    ]


def bit_lines(path: SignalPath, width: int, *, own_only: bool = False) -> list[Line]:
    """The payload's grid with the signal's bits joined; own_only: no other bytes than its own."""
    if path.payload is None or not path.bits:
        return []
    signal = Drawn(path.bits, tone=Tone.NOTE)
    pitch = 5 if width >= 64 and not own_only else 4
    lines = grid(path.payload, [signal], pitch=pitch, notes=part_notes(path.bits))
    if own_only:
        own = {bit // 8 for bit in path.bits}
        lines = [line for place, line in enumerate(lines, -1) if place == -1 or place in own]
    return [tuple(fit(line, width)) for line in lines]


def boxes_block(
    path: SignalPath,
    picture: Snapshot,
    width: int,
    *,
    check: str | None = None,
    is_low: bool = False,
    large_room: int = 0,
) -> list[Line]:
    """The controller between its edges: one check drawn, the others a line each.

    is_low: there is no room for boxes. large_room: lines for the one drawn, with delay and verdict in block
    letters; 0: without.
    """
    lines: list[Line] = []
    for place, closed in enumerate(in_order(path.boxes, picture, check)):
        says = passage(closed, picture)
        if place and is_standing(closed, picture):
            continue  # those who use the signal tell it
        if place or is_low or width < BOX_WIDTH:
            lines.append(in_one_line(says, closed.check, width))
        elif large_room:
            lines += largest(says, closed.check, width, large_room)
        else:
            lines += drawn(says, closed.check, width)
    return lines


# --- a line a stage


def _compact(path: SignalPath, picture: Snapshot, width: int, height: int, check: str | None) -> list[Line]:
    steps = stages(path, picture)
    lines = [stage_line(step, path, picture, width, first=i == 0) for i, step in enumerate(steps)]
    lines += bit_lines(path, width, own_only=height < 24)
    controller = boxes_block(path, picture, width, check=check, is_low=height < BOX_HEIGHT)
    room = max(height - len(lines) - len(controller), LEAST_USERS)
    lines += users_lines(path.users, width, room)
    return [*lines, *controller, *users_rest(path.users, width, room)]


def stage_line(step: Stage, path: SignalPath, picture: Snapshot, width: int, *, first: bool) -> Line:
    """One stage: name, what it says, how it comes about."""
    is_signal = step.title == "Signal"
    detail = spoken(path.signal, picture.t_ns, picture.start_ns) if is_signal else step.detail
    room = max(width - 14, 10)
    text = said(step, path)
    text = tuple(fit(text, TEXT_WIDTH)) if width_of(text) <= TEXT_WIDTH else text
    front = (Span("● " if first else "▼ ", Tone.HEAD), Span(f"{step.title:<11} ", Tone.HEAD))
    return tuple(fit((*front, *fit((*text, Span(GAP), Span(detail, Tone.DIM)), room)), width))
