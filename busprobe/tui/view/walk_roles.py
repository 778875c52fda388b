"""What the guided walk found: the list of roles, and what is printed of it at the end."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import NamedTuple

from busprobe.errors import counted
from busprobe.report.walk import newest, result_line, summary_of
from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.snapshot import Snapshot
from busprobe.session.walk import Walk, edges_from_rest
from busprobe.session.walk_tasks import Goal, Task
from busprobe.tui.view.spans import Cell, Column, Line, Row, Span, Tone, cell, plain, share, width_of
from busprobe.tui.view.times import clock, span

_RESULT, _SIGNAL = Column("Result", 17), Column("Signal", 14, grow=1)
_COUNTS = (
    Column("Edges", 5, "right"),
    Column("Bounce", 6, "right", drop=1),
    Column("Lost", 4, "right", drop=1),
)
ROLE_COLUMNS = (
    _RESULT,
    Column("At", 9, "right", drop=4),
    _SIGNAL,
    Column("Role", 10, drop=2),
    *_COUNTS,
    Column("Took", 8, "right", drop=3),
    Column("Found", 20, grow=2),
)
REPLAY_COLUMNS = (
    _RESULT,
    Column("At", 9, "right"),
    _SIGNAL,
    Column("Role", 10, drop=3),
    *_COUNTS,
    Column("Took", 8, "right", drop=4),
    Column("Found", 17, grow=2),
)
"""When something was found matters more where one can go there."""
_SIGNS = {
    WalkOutcome.CONFIRMED: Span("✓ confirmed", Tone.GOOD),
    WalkOutcome.WRONG_WAY: Span("✗ wrong way round", Tone.BAD),
    WalkOutcome.OTHER: Span("✗ other value", Tone.BAD),
    WalkOutcome.NOT_SEEN: Span("? not seen", Tone.WARN),
    WalkOutcome.WIGGLED: Span("~ wiggle test"),
    WalkOutcome.NOTED: Span("· noted", Tone.DIM),
}
_NONE = cell("–", Tone.DIM)
_NO_ROLE = (WalkOutcome.WIGGLED, WalkOutcome.NOTED)


class WalkFound(NamedTuple):
    """What is known of a walk: its tasks, and all results, in the order found."""

    walk: Walk
    recorded: Sequence[WalkResult]
    """Those of the recording that is replayed."""
    here: Sequence[WalkResult]
    """Those found while this was watched; they count before recorded ones."""
    start_ns: int
    is_replay: bool

    @property
    def roles(self) -> list[WalkResult | None]:
        """Of each task the result that counts."""
        of = {r.signal: r for r in self.newest if r.outcome not in _NO_ROLE}
        return [of.get(task.signal) for task in self.walk.tasks]

    @property
    def is_walked(self) -> bool:
        """Whether a walk goes on here, or has found something."""
        return bool(self.here) or self.walk.place is not None

    @property
    def others(self) -> list[WalkResult]:
        """Those that count and are of no task: signals that another bench file named, and wiggle tests."""
        roles = self.roles
        return [result for result in self.newest if not any(result is role for role in roles)]

    @property
    def newest(self) -> list[WalkResult]:
        """All that count."""
        return newest((*self.recorded, *self.here))


def role_rows(found: WalkFound) -> list[Row]:
    """One row a role, in the order asked: what was found; then signals of no task here, and wiggle tests."""
    pairs = enumerate(zip(found.walk.tasks, found.roles, strict=True))
    rows = [_role(task, result, place, found) for place, (task, result) in pairs]
    others = [_row(f"{number} {result.signal}", result, found) for number, result in enumerate(found.others)]
    return rows + others


def _role(task: Task, result: WalkResult | None, place: int, found: WalkFound) -> Row:
    is_asked = found.walk.place == place
    if result is not None and not is_asked:
        return _row(task.signal, result, found)
    prompt = cell(task.prompt.replace("{position}", "/".join(task.positions)), Tone.DIM)
    if is_asked:
        sign = Span("▶ asked for now", Tone.NOTE)
    elif found.is_replay and (found.recorded or not found.is_walked):
        sign, prompt = Span("· no result", Tone.DIM), _NONE
    else:
        sign = Span("· to come", Tone.DIM)
    return Row(task.signal, ((sign,), _NONE, cell(task.signal), cell(task.role, Tone.DIM), *[_NONE] * 4, prompt))


def _row(key: str, result: WalkResult, found: WalkFound) -> Row:
    at = cell(clock(result.t_ns - found.start_ns), Tone.DIM)
    if result.outcome is WalkOutcome.NOTED:
        cells: tuple[Cell, ...] = (at, _NONE, _NONE, *[_NONE] * 4, cell(result.text))
    else:
        is_replayed = found.is_replay and any(result is one for one in found.here)
        bounce = _NONE if result.bounce is None else cell(f"{result.bounce:,}")
        cells = (
            at,
            cell(result.signal),
            cell(result.role, Tone.DIM),
            cell(f"{result.edges:,}"),
            bounce,
            cell(f"{result.losses:,}"),
            cell(span(result.took_ns)),
            cell(f"replayed: {result.text}" if is_replayed else result.text),
        )
    return Row(key, ((_SIGNS[result.outcome],), *cells), result_line(result))


def found_lines(row: Row | None, columns: Sequence[Column], width: int, most: int) -> list[Line]:
    """What was found of the selected row, in full, where its column cuts it; at most so many lines."""
    if row is None or most < 1:
        return []
    place, room = next(((i, w) for i, w in share(columns, width - 2) if i == len(columns) - 1), (len(columns) - 1, 0))
    if width_of(row.cells[place]) <= room:
        return []
    return [(Span(f"  {text}", Tone.NOTE),) for text in wrap(plain(row.cells[place]), max(width - 3, 20))[:most]]


def result_at(found: WalkFound, row: int) -> WalkResult | None:
    """The result that a row of `role_rows` shows."""
    shown = [*found.roles, *found.others]
    return shown[row] if row < len(shown) else None


def signal_at(found: WalkFound, row: int) -> str | None:
    """The signal that it is of."""
    if row < len(found.walk.tasks):
        return found.walk.tasks[row].signal
    result = result_at(found, row)
    return result.signal or None if result is not None else None


def result_text(found: WalkFound, picture: Snapshot) -> str:
    """What was found here and what is open, printed when the dashboard is left; empty before a walk has begun."""
    found = found._replace(recorded=())
    roles, asked = found.roles, found.walk.task
    if not any(roles) and asked is None:
        return ""
    of = f"{picture.title}, replayed" if found.is_replay else picture.vehicle or picture.title
    lines = [f"Guided walk, {of}: {summary(found)}."]
    for task, result in zip(found.walk.tasks, roles, strict=True):
        if result is not None:
            lines.append(f"  {_SIGNS[result.outcome].text[0]} {result_line(result)}")
        if task is asked:
            lines.append(f"  · {task.signal}: left in the middle{_so_far(found.walk)}")
        elif result is None:
            lines.append(f"  · {task.signal}: not asked")
    left = sum(result is None or task is asked for task, result in zip(found.walk.tasks, roles, strict=True))
    if left:
        lines.append(f"The walk was left unfinished: {counted(left, 'role')} {'is' if left == 1 else 'are'} open.")
    return "\n".join(lines)


def _so_far(walk: Walk) -> str:
    """How far the action asked for has come: ", 3 of 6 edges"; empty where that is not counted."""
    task, seen = walk.task, walk.seen
    if task is None or seen is None or task.goal not in (Goal.SWITCH, Goal.POSITIONS):
        return ""
    if task.goal is Goal.SWITCH:
        return f", {edges_from_rest(task, seen)} of {2 * task.times} edges"
    return f", {seen.position - len(seen.skipped)} of {len(task.positions)} positions"


def summary(found: WalkFound) -> str:
    """"7 of 9 confirmed, 1 wrong way round, 1 not seen"."""  # fmt: skip
    roles = [result for result in found.roles if result is not None]
    return summary_of(roles, len(found.walk.tasks))


def roles_title(found: WalkFound) -> str:
    """Above the list: how far the walk has got, or what the whole recording has of one."""
    if not found.is_replay:
        return f"Roles, {summary(found)}"
    if not found.recorded:
        is_walked = found.is_walked
        return f"Roles, replayed: {summary(found)}" if is_walked else "Roles, no result in this recording"
    return f"Roles, whole recording: {summary(found._replace(here=()))}"
