"""The Signal path screen: everything from the wire to the lamp for one signal, as drawn lines."""

from __future__ import annotations

from busprobe.session.snapshot import SignalNow, SignalPath, Snapshot, Stage, User
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN
from busprobe.tui.view.bit_grid import Drawn, grid, part_notes
from busprobe.tui.view.boxes import beside, box
from busprobe.tui.view.closed_box import drawn, in_one_line, newest, passage
from busprobe.tui.view.spans import Column, Line, Row, Span, Tone, cell, fit, matches, width_of
from busprobe.tui.view.times import clock, span
from busprobe.tui.view.values import ASLEEP_SIGN, OFF_SIGN, ON_SIGN, UNKNOWN_SIGN, value_cell

ROOMY = (100, 30)
"""Columns and lines from which on every stage has a box of its own."""
BOX_LINES, BOX_WIDTH = 5, 64
"""What the controller between its edges takes at least."""

PICKER_COLUMNS = (Column("Signal", 16, grow=1), Column("Value", 10, grow=1, drop=1))

_SHAPES = {
    TRUE: Span(ON_SIGN, Tone.ON),
    FALSE: Span(OFF_SIGN),
    UNKNOWN: Span(UNKNOWN_SIGN, Tone.WARN),
    ASLEEP: Span(ASLEEP_SIGN, Tone.DIM),
}


def shape(code: int | None) -> Span:
    """What a condition says, as a shape: on, off, unknown, asleep."""
    return Span(" ") if code is None else _SHAPES[code]


def picker_rows(signals: tuple[SignalNow, ...], words: str = "") -> list[Row]:
    """A row a signal, for choosing one; words: a filter over name, role and source."""
    return [
        Row(signal.name, (cell(signal.name), value_cell(signal)))
        for signal in signals
        if matches(words, signal.name, signal.role or "", signal.source)
    ]


def neighbour(signals: tuple[SignalNow, ...], name: str | None, step: int) -> str | None:
    """The signal `step` places on from this one, round the end; None: there are none."""
    names = [signal.name for signal in signals]
    if not names:
        return None
    if name not in names:
        return names[0]
    return names[(names.index(name) + step) % len(names)]


def title(signals: tuple[SignalNow, ...], name: str | None) -> str:
    """What the drawing says over its edge, and the keys that change it."""
    for place, signal in enumerate(signals, 1):
        if signal.name == name:
            role = f", role {signal.role}" if signal.role else ""
            return f"{name}{role} · {place} of {len(signals)} · ↑↓ others · p pick · l large"
    return "Signal path"


def digits(path: SignalPath) -> str:
    """The signal's bits in its payload, most significant first; "." for bits past its end; empty without a frame."""
    payload = path.payload
    if payload is None:
        return ""
    return "".join(str(payload[b // 8] >> b % 8 & 1) if b // 8 < len(payload) else "." for b in path.bits)


def stages(path: SignalPath) -> list[Stage]:
    """The steps up to the signal; its last stage is what the signal says, in words of its own."""
    steps = [step for step in path.stages if step.title != "Signal"]
    return [*steps, Stage("Signal", path.signal.text, path.signal.name, path.signal.code)]


def spoken(signal: SignalNow, t_ns: int, start_ns: int) -> str:
    """Since when a signal says what it says: "since 03:12.4, for 8.1 s; 15 edges"."""
    if signal.since_ns is None:
        return "nothing seen yet"
    edges = f"{signal.edges:,} edge{'' if signal.edges == 1 else 's'}"
    return f"since {clock(signal.since_ns - start_ns)}, for {span(max(t_ns - signal.since_ns, 0))}; {edges}"


def path_lines(
    path: SignalPath | None, picture: Snapshot, width: int, height: int, *, chosen: str | None = None
) -> list[Line]:
    """The whole drawing; longer than `height` only where much uses the signal. chosen: a signal without a path."""
    if path is None and chosen is not None:
        return [(Span("Nothing is known of its way yet. Up and Down go to other signals.", Tone.DIM),)]
    if path is None:
        return [(Span("Choose a signal: Up and Down go through them, p lists them.", Tone.DIM),)]
    if width >= ROOMY[0] and height >= ROOMY[1]:
        return _roomy(path, picture, width, height)
    return _compact(path, picture, width, height)


# --- every stage in a box, bits and users beside them


def _roomy(path: SignalPath, picture: Snapshot, width: int, height: int) -> list[Line]:
    left_width = min(width * 13 // 25, 64)
    right_width = width - left_width - 2
    left: list[Line] = []
    steps = stages(path)
    for i, step in enumerate(steps):
        left += stage_box(step, path, picture, left_width, first=i == 0, last=i == len(steps) - 1)
    bits = bit_lines(path, right_width)
    room = max(len(left), height - BOX_LINES - len(path.boxes) + 1) - len(bits) - 1
    right = [*bits, (), *_users_block(path.users, right_width, room)]
    body = beside(left, right, left_width)
    return [*body, *boxes_block(path, picture, width, height - len(body))]


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
    sign = Span("✓", Tone.GOOD) if step.title == "Freshness" and step.code == TRUE else shape(step.code)
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


def _users_block(users: tuple[User, ...], width: int, room: int) -> list[Line]:
    """Two lines each where there is room for all, else one."""
    if not users:
        return [(Span("No check, trigger or derived signal uses it.", Tone.DIM),)]
    heading: Line = (Span("Used by", Tone.HEAD),)
    if 2 * len(users) < room:
        pairs = [(user_line(user, width), (Span(f"    {user.text}", Tone.DIM),)) for user in users]
        return [heading, *(tuple(fit(line, width)) for pair in pairs for line in pair)]
    return [heading, *users_lines(users, width, room - 1)]


def users_lines(users: tuple[User, ...], width: int, room: int) -> list[Line]:
    """A line each, and how many there are more than fit."""
    if len(users) <= room:
        return [user_line(user, width, with_text=True) for user in users]
    shown = max(room - 1, 1)
    more: Line = (Span(f"  and {len(users) - shown} more that use it", Tone.DIM),)
    return [*(user_line(user, width, with_text=True) for user in users[:shown]), more]


def user_line(user: User, width: int, *, with_text: bool = False) -> Line:
    """A check, trigger or derived signal, and what it says now."""
    line = (shape(user.code), Span(f" {user.kind:<8}", Tone.DIM), Span(user.name))
    return tuple(fit((*line, Span(f"   {user.text}", Tone.DIM)) if with_text else line, width))


def boxes_block(path: SignalPath, picture: Snapshot, width: int, room: int, *, large: bool = False) -> list[Line]:
    """The controller between its edges: the newest drawn, others a line each, as there is room."""
    lines: list[Line] = []
    for place, closed in enumerate(newest(path.boxes)):
        says = passage(closed, picture)
        full = drawn(says, closed.check, width, large=large)
        room_now = room - len(path.boxes) + 1
        if place == 0 and room_now >= len(full) and width >= BOX_WIDTH:
            lines += full
        elif place == 0 and large and room_now >= BOX_LINES and width >= BOX_WIDTH:
            lines += drawn(says, closed.check, width)
        else:
            lines.append(in_one_line(says, closed.check, width))
    return lines


# --- a line a stage


def _compact(path: SignalPath, picture: Snapshot, width: int, height: int) -> list[Line]:
    lines = [stage_line(step, path, picture, width, first=i == 0) for i, step in enumerate(stages(path))]
    lines += bit_lines(path, width, own_only=height < 24)
    for_box = 0 if not path.boxes else BOX_LINES + len(path.boxes) - 1 if height >= 18 else len(path.boxes)
    lines += users_lines(path.users, width, max(height - len(lines) - for_box, 2)) if path.users else []
    return [*lines, *boxes_block(path, picture, width, height - len(lines))]


def stage_line(step: Stage, path: SignalPath, picture: Snapshot, width: int, *, first: bool) -> Line:
    """One stage: name, what it says, how it comes about."""
    is_signal = step.title == "Signal"
    detail = spoken(path.signal, picture.t_ns, picture.start_ns) if is_signal else step.detail
    room = max(width - 14, 10)
    text = said(step, path)
    text = tuple(fit(text, 24)) if width_of(text) <= 24 else text
    front = (Span("● " if first else "▼ ", Tone.HEAD), Span(f"{step.title:<11} ", Tone.HEAD))
    return tuple(fit((*front, *fit((*text, Span(" "), Span(detail, Tone.DIM)), room)), width))
