"""The stages from the wire to the signal: what each says, in a box or in a line, and the bits of its frame."""

from __future__ import annotations

import re
from collections.abc import Sequence

from busprobe.session.snapshot import NOT_SEEN, Kind, SignalNow, SignalPath, Snapshot, Stage
from busprobe.timeline import ASLEEP, TRUE, UNKNOWN
from busprobe.tui.view.bit_grid import Drawn, grid, part_notes
from busprobe.tui.view.boxes import box
from busprobe.tui.view.path_users import shape
from busprobe.tui.view.spans import Line, Span, Tone, cell, fit, width_of
from busprobe.tui.view.times import clock, span
from busprobe.tui.view.values import excuse_sign, value_cell
from busprobe.tui.view.wrapped import Told, in_words, shared, wrapped

TEXT_WIDTH, GAP = 24, "  "
"""Columns of what a stage says, and what stands between it and how it comes about."""
LEAST_DETAIL = 20
"""Columns for how it comes about, under one another; with fewer it follows what the stage says."""
NOTES_WIDTH = 58
"""Columns of the bits with whole notes at the end of their lines."""
_AGE = re.compile(r"\S+ \S+ ago")
"""An age in how a stage comes about: "412 ms ago"."""

_WORDS = re.compile(r"'[^']*'|\"[^\"]*\"|([A-Za-z_]\w*)")
"""Words of an expression, those in quotes skipped."""


def named(text: str, signals: Sequence[SignalNow]) -> list[SignalNow]:
    """The signals that an expression names, in its order."""
    by_name = {signal.name: signal for signal in signals}
    words = dict.fromkeys(found[1] for found in _WORDS.finditer(text))
    return [by_name[word] for word in words if word in by_name]


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
        steps += [_operand(signal) for signal in named(path.signal.source, picture.signals)]
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


def stage_box(
    step: Stage, path: SignalPath, picture: Snapshot, width: int, *, first: bool, last: bool, spare: int = 0
) -> list[Line]:
    """One stage, with the arrow that comes from the one above. spare: lines for what would be cut."""
    name = f"Signal {path.signal.name}" if step.title == "Signal" else step.title
    room = width - 4
    texts = [in_words(said(step, path), room), _detail(step, path, picture, room)]
    return box(name, shared(texts, room, 2 + spare), width, arrow_in=not first, arrow_out=not last)


def _detail(step: Stage, path: SignalPath, picture: Snapshot, width: int) -> Told:
    """How it comes about."""
    detail, widest = _detail_texts(step, path, picture)
    return Told((Span(f"{detail:<{len(widest)}}", Tone.DIM),), lambda: _steady(detail, widest, width))


def _detail_texts(step: Stage, path: SignalPath, picture: Snapshot) -> tuple[str, str]:
    """How it comes about; and as long as that gets: ages in it change, and the drawing is not to jump for it."""
    is_signal = step.title == "Signal"
    detail = spoken(path.signal, picture.t_ns, picture.start_ns) if is_signal else step.detail
    return detail, _AGE.sub("000 ms ago", detail) if " ago" in detail else detail


def _steady(detail: str, widest: str, width: int) -> list[Line]:
    """A text in as many lines as the widest takes."""
    lines = list(wrapped((Span(detail, Tone.DIM),), width))
    return lines + [()] * (len(wrapped((Span(widest),), width)) - len(lines))


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
    notes = part_notes(path.bits, is_short=width < NOTES_WIDTH)
    lines = grid(path.payload, [signal], pitch=pitch, notes=notes)
    if own_only:
        own = {bit // 8 for bit in path.bits}
        lines = [line for place, line in enumerate(lines, -1) if place == -1 or place in own]
    return [tuple(fit(line, width)) for line in lines]


def stage_line(step: Stage, path: SignalPath, picture: Snapshot, width: int, *, first: bool) -> Line:
    """One stage: name, what it says, how it comes about."""
    return tuple(fit(stage_told(step, path, picture, width, first=first).short, width))


def stage_told(step: Stage, path: SignalPath, picture: Snapshot, width: int, *, first: bool) -> Told:
    """The same, with more lines for how it comes about where it is too long for one."""
    front = (Span("● " if first else "▼ ", Tone.HEAD), Span(f"{step.title:<11} ", Tone.HEAD))
    text = said(step, path)
    if width_of(text) <= TEXT_WIDTH and width >= width_of(front) + TEXT_WIDTH + len(GAP) + LEAST_DETAIL:
        text = tuple(fit(text, TEXT_WIDTH))
    detail, widest = _detail_texts(step, path, picture)
    start: Line = (*front, *text, Span(GAP))

    def long() -> Sequence[Line]:
        at = width_of(start)
        if width - at < LEAST_DETAIL:
            return wrapped((*start, Span(detail, Tone.DIM)), width, width_of(front))
        parts = _steady(detail, widest, width - at)
        return [(*start, *parts[0]), *((Span(" " * at), *part) for part in parts[1:])]

    return Told((*start, Span(f"{detail:<{len(widest)}}", Tone.DIM)), long)
