"""Results of the guided walk: as a section of a report, and one result as a line."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.report.quantities import counted, exact, moment, rounded
from busprobe.report.table import WIDE, Column, heading, paragraph, room, table
from busprobe.results import WalkOutcome, WalkResult

_COLUMNS = (
    Column("result"),
    Column("signal", wrap=26),
    Column("edges", right=True),
    Column("bounce", right=True),
    Column("lost", right=True),
    Column("took", right=True),
    Column("at", right=True),
    Column("found", wrap=34),
)
_BEFORE = "A time below zero is before the recording began: results found by then were written into it as it did."


def newest(results: Sequence[WalkResult]) -> list[WalkResult]:
    """The newest result of each signal, wiggle tests by themselves; a noted line is superseded by none.

    results: in the order found, as what is given.
    """
    last = {_what(result): number for number, result in enumerate(results)}
    return [r for number, r in enumerate(results) if r.outcome is WalkOutcome.NOTED or last[_what(r)] == number]


def _what(result: WalkResult) -> tuple[str, bool]:
    return result.signal, result.outcome is WalkOutcome.WIGGLED


def summary_of(results: Sequence[WalkResult], of: int) -> str:
    """"7 of 9 confirmed, 1 wrong way round, 1 not seen"; of: how many roles there are."""  # fmt: skip
    outcomes = [result.outcome for result in results]
    others = (WalkOutcome.WRONG_WAY, WalkOutcome.OTHER, WalkOutcome.NOT_SEEN)
    told = [f"{outcomes.count(o)} {o.value}" for o in others if o in outcomes]
    return ", ".join([f"{outcomes.count(WalkOutcome.CONFIRMED)} of {of} confirmed", *told])


def title_of(result: WalkResult) -> str:
    """The signal, with its role where that says more: "rear_door (door)"."""
    is_same = result.signal.replace("_", " ") == result.role.replace("_", " ")
    return result.signal if is_same or not result.role else f"{result.signal} ({result.role})"


def result_line(result: WalkResult) -> str:
    """One result in one line."""
    if result.outcome is WalkOutcome.NOTED:
        return result.text
    edges, took = counted(result.edges, "edge"), _took(result)
    if result.outcome is WalkOutcome.WIGGLED:
        more = f", {result.text}" if result.text else ""
        return f"Wiggle test of {result.signal}: {edges}{more}, lost {result.losses}× in {took}"
    counts = [edges, *([] if result.bounce is None else [f"bounce {result.bounce}"]), f"lost {result.losses}"]
    return f"{title_of(result)}: {result.outcome.value}; {', '.join(counts)}; {result.text}; took {took}"


def walk_lines(results: Sequence[WalkResult], start_ns: int) -> list[str]:
    """A section; empty where there is no result. results: in the order found."""
    if not results:
        return []
    counting = newest(results)
    asked = [r for r in counting if r.outcome not in (WalkOutcome.WIGGLED, WalkOutcome.NOTED)]
    earlier = [f"{_what_found(r)} at {moment(r.t_ns, start_ns)}" for r in results if r not in counting]
    is_before = any(result.t_ns < start_ns for result in results)
    return [
        *heading("Guided walk"),
        *table(_COLUMNS, _rows(counting, start_ns)),
        *([f"{summary_of(asked, len(asked))}."] if asked else []),
        *(paragraph(f"Earlier results, superseded: {'; '.join(earlier)}.", width=96) if earlier else []),
        *(paragraph(_BEFORE, width=96) if is_before else []),
    ]


def _what_found(result: WalkResult) -> str:
    return f"{result.signal} {result.outcome.value}"


def _rows(results: Sequence[WalkResult], start_ns: int) -> list[Sequence[str]]:
    """Rows of the table; where lines are short, what was found stands below the signal."""
    rows = [_row(result, start_ns) for result in results]
    if room(WIDE) >= WIDE:
        return rows
    return [
        (told, "\n".join(part for part in (signal, found) if part), *rest, "") for told, signal, *rest, found in rows
    ]


def _row(result: WalkResult, start_ns: int) -> Sequence[str]:
    at = moment(result.t_ns, start_ns)
    if result.outcome is WalkOutcome.NOTED:
        return (result.outcome.value, "", "", "", "", "", at, result.text)
    return (
        result.outcome.value,
        title_of(result),
        f"{result.edges:,}",
        "" if result.bounce is None else f"{result.bounce:,}",
        f"{result.losses:,}",
        _took(result),
        at,
        result.text,
    )


def _took(result: WalkResult) -> str:
    took = result.took_ns
    return rounded(took) if took < 60_000_000_000 else exact(took // 1_000_000_000 * 1_000_000_000)
