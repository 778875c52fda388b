"""The Signal path screen: everything from the wire to the lamp for one signal, as drawn lines."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.results import CheckResult
from busprobe.session.snapshot import ClosedBox, SignalNow, SignalPath, Snapshot
from busprobe.tui.view.boxes import beside
from busprobe.tui.view.closed_box import drawn, in_order, is_standing, largest, one_line, passage
from busprobe.tui.view.path_stages import bit_lines, named, stage_box, stage_told, stages
from busprobe.tui.view.path_users import are_whole, users_block, users_lines, users_rest
from busprobe.tui.view.spans import Column, Line, Row, Span, Tone, cell, matches
from busprobe.tui.view.values import value_cell
from busprobe.tui.view.wrapped import in_words, shared

ROOMY = (100, 30)
"""Columns and lines from which on every stage has a box of its own."""
BOX_HEIGHT, BOX_WIDTH = 18, 64
"""Lines and columns from which on the controller is drawn between its edges."""
STAGE_HEIGHT = 4
"""Lines of a stage in its box."""
LEAST_USERS = 2
"""Lines for those who use the signal, however little room there is."""

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


def signal_of(check: CheckResult, signals: Sequence[SignalNow], chosen: str | None) -> str | None:
    """The signal whose path tells of a check: the one chosen where it is in it, else the first that it names."""
    names = [signal.name for signal in named(f"{check.when} {check.expected}", signals)]
    return chosen if chosen in names or not names else names[0]


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
    steps = stages(path, picture)
    least = STAGE_HEIGHT * len(steps)
    controller = boxes_block(path, picture, width, check=check, room=height - least)
    spare = max(height - least - len(controller), 0)
    left: list[Line] = []
    for i, step in enumerate(steps):
        lines = stage_box(step, path, picture, left_width, first=i == 0, last=i == len(steps) - 1, spare=spare)
        spare -= len(lines) - STAGE_HEIGHT
        left += lines
    bits = bit_lines(path, right_width)
    room = max(len(left), height - len(controller)) - len(bits) - 1
    right = [*bits, (), *users_block(path.users, right_width, room)]
    rest = () if are_whole(path.users, right_width, room - 1) else users_rest(path.users, width)
    return [*beside(left, right, left_width), *controller, *rest]


def boxes_block(
    path: SignalPath,
    picture: Snapshot,
    width: int,
    *,
    check: str | None = None,
    is_low: bool = False,
    large_room: int = 0,
    room: int = 0,
    kept: int = 0,
) -> list[Line]:
    """The controller between its edges: one check drawn, the others a line each.

    is_low: there is no room for boxes. large_room: lines for the one drawn, with delay and verdict in block
    letters; 0: without. room: lines for all of it; it takes more than the least only for what would be cut.
    kept: so many of them not for boxes in one line.
    """
    order = in_order(path.boxes, picture, check)
    shown = [one for place, one in enumerate(order) if not place or not is_standing(one, picture)]
    told = [(passage(one, picture), one.check) for one in shown]  # of the others those who use the signal tell
    lines: list[Line] = []
    if told and not is_low and width >= BOX_WIDTH:
        says, name = told.pop(0)
        is_large = large_room > 0
        lines += largest(says, name, width, large_room) if is_large else drawn(says, name, width, room=room - len(told))
    return [*lines, *shared([in_words(one_line(*one), width, 4) for one in told], width, room - len(lines) - kept)]


# --- a line a stage


def _compact(path: SignalPath, picture: Snapshot, width: int, height: int, check: str | None) -> list[Line]:
    steps = stages(path, picture)
    told = [stage_told(step, path, picture, width, first=i == 0) for i, step in enumerate(steps)]
    bits = bit_lines(path, width, own_only=height < 24)
    room = height - len(steps) - len(bits) - min(len(path.users), LEAST_USERS)
    kept = max(len(path.users) - LEAST_USERS, 0)
    controller = boxes_block(path, picture, width, check=check, is_low=height < BOX_HEIGHT, room=room, kept=kept)
    lines = [*shared(told, width, len(steps) + room - len(controller)), *bits]
    room = max(height - len(lines) - len(controller), LEAST_USERS)
    rest = () if are_whole(path.users, width, room) else users_rest(path.users, width)
    return [*lines, *users_lines(path.users, width, room), *controller, *rest]
