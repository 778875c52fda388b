"""The report on checks as lines of text: verdicts, what did not pass and why, trigger log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from busprobe.report.markers import marker_lines
from busprobe.report.not_passed import LEAST_SHOWN_NS, not_passed, signals_text
from busprobe.report.quantities import counted, exact, moment, rounded, times, wall
from busprobe.report.table import WIDE, Column, heading, paragraph, room, table
from busprobe.report.trigger_log import entry_name
from busprobe.report.verified import OUTCOMES, VERDICTS, Verified, latencies
from busprobe.report.walk import walk_lines
from busprobe.results import BUS_KINDS, CheckResult, LogLine, Occurrence, Outcome, TriggerEntry

CAUTION = (
    "A pass is evidence of behaviour in this recording, and no certificate: "
    "the local code and licensed practice decide."
)
MOST_LOGGED = 200
"""Lines shown of the trigger log."""

_MEANINGS = {
    Outcome.ALREADY: "already so: true before it was asked for, which proves nothing.",
    Outcome.CUT: "cut short: `when` or the data ended before the outcome could be told; not held against it.",
}
_LATE_TOO = "worst, median: of all that came, late ones too; where one failed there is no margin."
_NEVER = "never: one or more did not come while `when` lasted."
_TIGHT = "tight: by less than its uncertainty (+/-): measured more exactly it might be the other way."
_NOT_SEEN = "start not seen: true at first sight or after unknown, so its beginning was not seen."

_COLUMNS = (
    Column("verdict"),
    Column("check", wrap=30),
    Column("occurrences", wrap=22),
    Column("worst", right=True),
    Column("median", right=True),
    Column("+/-", right=True),
    Column("limit", right=True),
    Column("margin", right=True),
    Column(""),
)


def verify_lines(found: Verified) -> list[str]:
    """The whole report."""
    return [
        *_head(found),
        *(heading("Verdicts") if found.checks else []),
        *_verdicts(found.checks),
        *_legend(found.checks),
        *_also_counted(found.checks),
        *not_passed(found.checks, found.start_ns, found.unknown),
        *_trigger_log(found),
        *marker_lines(found.markers, found.start_ns),
        *walk_lines(found.walk, found.start_ns),
        *heading("Summary"),
        summary(found.checks),
        *(line for note in found.notes for line in paragraph(note)),
        *paragraph(CAUTION),
    ]


def _verdicts(checks: Sequence[CheckResult]) -> list[str]:
    """The table of verdicts; where lines are short the occurrences stand below the check's name."""
    rows = [row for check in checks for row in _rows(check)]
    if room(WIDE) < WIDE:
        rows = [(verdict, f"{name}\n  {told}", "", *rest) for verdict, name, told, *rest in rows]
    return table(_COLUMNS, rows)


def occurrences_text(occurrences: Sequence[Occurrence]) -> str:
    """How they ended: "3 passed, 1 cut short"; "none" without any."""
    counts = ((outcome, sum(o.outcome is outcome for o in occurrences)) for outcome in OUTCOMES)
    return ", ".join(f"{number} {outcome.value}" for outcome, number in counts if number) or "none"


def summary(checks: Sequence[CheckResult]) -> str:
    """All verdicts in one line: "12 checks: 9 pass, 2 fail, 1 not exercised."."""
    counts = ((verdict, sum(check.verdict is verdict for check in checks)) for verdict in VERDICTS)
    told = ", ".join(f"{number} {verdict.value}" for verdict, number in counts if number)
    return f"{counted(len(checks), 'check')}: {told}." if told else "No check in the bench file."


def _head(found: Verified) -> list[str]:
    began = wall(found.start_ns)
    length = f"{exact(found.end_ns - found.start_ns)}, {counted(found.frames, 'frame')}"
    rows = [
        ("Vehicle", found.vehicle),
        ("Recording", found.recording),
        ("Begins", began or ""),
        ("Length", length),
    ]
    return [f"{name:<10} {text}" for name, text in rows if text]


def _rows(check: CheckResult) -> Iterator[Sequence[str]]:
    """One row of the verdict table, and one more for each part of a `follows` check."""
    parts = [part for part in ("on", "off") if any(o.part == part for o in check.occurrences)]
    if not parts:
        yield (check.verdict.value, check.name, *_measures(check, check.occurrences))
        return
    yield (check.verdict.value, check.name, occurrences_text(check.occurrences), "", "", "", "", "", "")
    for part in parts:
        yield ("", f"  {part}", *_measures(check, [o for o in check.occurrences if o.part == part]))


def _measures(check: CheckResult, occurrences: Sequence[Occurrence]) -> Sequence[str]:
    told = occurrences_text(occurrences)
    tight = sum(o.tight for o in occurrences)
    tight_text = f"{tight} tight" if tight else ""
    timed = latencies(check, occurrences)
    never = "never" if any(o.never_came for o in occurrences) else ""
    if timed is None:
        return (told, never, "", "", exact(check.limit_ns) if check.limit_ns is not None else "", "", tight_text)
    return (
        told,
        never or rounded(timed.worst_ns),
        rounded(timed.median_ns),
        rounded(timed.uncertainty_ns) if timed.uncertainty_ns >= LEAST_SHOWN_NS else "",
        exact(timed.limit_ns) if timed.limit_ns is not None else "",
        "" if any(o.outcome is Outcome.FAILED for o in occurrences) else rounded(timed.margin_ns),
        tight_text,
    )


def _legend(checks: Sequence[CheckResult]) -> list[str]:
    """Words of the report that need a word, each once where it occurs."""
    outcomes = {o.outcome for check in checks for o in check.occurrences}
    told = [text for outcome, text in _MEANINGS.items() if outcome in outcomes]
    mixed = (c for c in checks if c.count(Outcome.FAILED) and latencies(c, c.occurrences))
    told += [_LATE_TOO] if any(mixed) else []
    told += [_NEVER] if any(o.never_came for check in checks for o in check.occurrences) else []
    told += [_TIGHT] if any(o.tight for check in checks for o in check.occurrences) else []
    told += [_NOT_SEEN] if any(check.start_not_seen for check in checks) else []
    return ["", *(line for text in told for line in paragraph(text, width=96))] if told else []


def _also_counted(checks: Sequence[CheckResult]) -> list[str]:
    lines = []
    for check in checks:
        parts = []
        if check.start_not_seen:
            parts.append(f"start not seen {times(check.start_not_seen)}")
        if check.glitches:
            parts.append(f"{check.glitches:,} glitch{'es' if check.glitches != 1 else ''} taken out by the debounce")
        if parts:
            lines += paragraph(f"{check.name}: {', '.join(parts)}.", indent=2, width=96)
    return [*heading("Also counted"), *lines] if lines else []


def _trigger_log(found: Verified) -> list[str]:
    lines = [_trigger_line(entry, found.start_ns) for entry in found.triggers]
    lines += [_bus_line(line, found.start_ns) for line in found.log if line.kind in BUS_KINDS]
    if not lines:
        return []
    ordered = [row for _, row in sorted(lines, key=lambda line: line[0])]
    columns = (Column("time", right=True), Column("logged", wrap=34), Column("with", wrap=46))
    more = len(ordered) - MOST_LOGGED
    rest = [f"  and {more:,} more; --json FILE writes all of them"] if more > 0 else []
    return [*heading("Trigger log"), *table(columns, ordered[:MOST_LOGGED]), *rest]


def _trigger_line(entry: TriggerEntry, start_ns: int) -> tuple[tuple[int, int], Sequence[str]]:
    return (entry.decided_ns, entry.t_ns), (moment(entry.t_ns, start_ns), entry.name, signals_text(entry.signals))


def _bus_line(line: LogLine, start_ns: int) -> tuple[tuple[int, int], Sequence[str]]:
    return (line.decided_ns, line.t_ns), (moment(line.t_ns, start_ns), entry_name(line), line.text)
