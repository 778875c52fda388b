"""What did not pass and why: the signals that were lost, then each check with its failures.

Signals lost
  gear: lost for 3.41 s from 431.689 s: check what sends it and the wires of the bus

Rear warning yields to the brake: fail
  expected: not rear_warning within 200 ms after warning_switch and brake
  failed 2 times alike, not within the time allowed, came after 361 ms to 402 ms: 89.955 s, 110.835 s
      warning_switch on, brake Pressed, rear_warning on
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from busprobe.report.lost_signals import lost_lines
from busprobe.report.quantities import exact, moment, rounded
from busprobe.report.table import heading, paragraph
from busprobe.results import CheckResult, Occurrence, Outcome, Stretch, Verdict

LEAST_SHOWN_NS = 1000
"""An uncertainty below it is not shown."""
MOST_SHOWN = 20
"""Occurrences, and times of occurrences that are alike, shown of one check; the JSON file has all."""

_UNBROKEN = "\N{NO-BREAK SPACE}"


def not_passed(checks: Sequence[CheckResult], start_ns: int, unknown: Sequence[Stretch] = ()) -> list[str]:
    """The section, empty where all passed. unknown: when signals were, as far as that is known."""
    lines: list[str] = []
    for check in checks:
        open_ones = [o for o in check.occurrences if o.outcome in (Outcome.FAILED, Outcome.UNDECIDED)]
        if not open_ones and check.verdict is not Verdict.NOT_EXERCISED:
            continue
        lines += ["", f"{check.name}: {check.verdict.value}"]
        lines += paragraph(f"expected: {check.expected}", indent=2, width=96)
        if check.verdict is Verdict.NOT_EXERCISED:
            lines += [line for why in _why_not(check) for line in paragraph(why, indent=2, width=96)]
        lines += _occurrences(open_ones, start_ns)
    if not lines:
        return []
    return [*heading("Not passed"), *(lost_lines(checks, start_ns, unknown) + lines)[1:]]


def signals_text(signals: Mapping[str, str]) -> str:
    """Signals and what they said: "gear R, rear_white off"."""
    return ", ".join(f"{name} {text}" for name, text in signals.items())


# Why a check is not exercised.


def _why_not(check: CheckResult) -> Iterator[str]:
    """A sentence for each part that lacks passes."""
    for part in ("on", "off") if check.kind == "follows" else ("",):
        ones = [o for o in check.occurrences if o.part == part]
        passed = sum(o.outcome is Outcome.PASSED for o in ones)
        if passed < check.needed:
            label = f"{part}: " if part else ""
            yield label + (f"{passed} of {check.needed} passes needed" if passed else _why_none(check, ones, part))


def _why_none(check: CheckResult, ones: Sequence[Occurrence], part: str) -> str:
    """Why nothing passed, and what to do."""
    outcomes = {o.outcome for o in ones}
    if outcomes == {Outcome.ALREADY}:
        return 'true beforehand each time, which proves nothing (already = "counts" would count it)'
    if outcomes == {Outcome.CUT}:
        return "cut short each time: let it last until the outcome can be told"
    if outcomes:
        return "none passed: each time true beforehand, which proves nothing, or cut short"
    if not check.when:
        return "it was never put to the test"
    if not check.when_known:
        return f'"{check.when}" was never known: nothing came from what it is made of.'
    if part == "off":
        return f'"{check.when}" was never seen to end: operate it.'
    if check.start_not_seen:
        return f'"{check.when}" was true, but its beginning was not seen: end it and operate it again.'
    return f'"{check.when}" never became true: operate it.'


# What failed or is undecided.


def _occurrences(open_ones: Sequence[Occurrence], start_ns: int) -> list[str]:
    """Each in a line or two, those that are alike and follow one another once."""
    groups = [list(alike) for _, alike in groupby(open_ones, _likeness)]
    lines = [line for group in groups[:MOST_SHOWN] for line in _alike(group, start_ns)]
    return lines + _more("  ", sum(map(len, groups[MOST_SHOWN:])))


def _likeness(one: Occurrence) -> tuple[object, ...]:
    """What two occurrences have in common that are listed once."""
    signals = tuple(one.signals.items()) if one.signals is not None else None
    measured = (one.latency_ns is None, one.length_ns is None, one.came_after_ns is None)
    return (one.outcome, one.part, one.note, one.never_came, one.tight, measured, signals)


def _alike(group: Sequence[Occurrence], start_ns: int) -> list[str]:
    one = group[0]
    if len(group) == 1:
        told = [f"{moment(one.t_ns, start_ns)}  {one.outcome.value}", *_told(group)]
        if one.at_ns is not None and one.at_ns != one.t_ns:
            told.append(f"at {moment(one.at_ns, start_ns)}")
        lines = paragraph(", ".join(told + _afterwards(group)), indent=2, width=96)
    else:
        told = [f"{one.outcome.value} {len(group):,} times alike", *_told(group), *_afterwards(group)]
        times = ", ".join(moment(o.t_ns, start_ns).replace(" ", _UNBROKEN) for o in group[:MOST_SHOWN])
        lines = paragraph(f"{', '.join(told)}: {times}", indent=2, width=96)
        lines = [line.replace(_UNBROKEN, " ") for line in lines]
        lines += _more("      ", len(group) - MOST_SHOWN)
    return lines + (paragraph(signals_text(one.signals), indent=6, width=96) if one.signals else [])


def _more(indent: str, number: int) -> list[str]:
    return [f"{indent}and {number:,} more; --json FILE writes all of them"] if number > 0 else []


def _told(group: Sequence[Occurrence]) -> list[str]:
    """Part, reason and what was measured, from the least to the greatest of all."""
    one = group[0]
    told = [f"part {one.part}"] if one.part else []
    told += [one.note] if one.note else []
    if latency := _range([o.latency_ns for o in group]):
        told.append(f"latency {latency}{_doubt(group)}")
    if length := _range([o.length_ns for o in group]):
        told.append(f"for {length}")
    return told


def _afterwards(group: Sequence[Occurrence]) -> list[str]:
    """What came of a failure after its limit, and whether it is one beyond doubt."""
    told = ["never came while it lasted"] if group[0].never_came else []
    if came := _range([o.came_after_ns for o in group]):
        told = [f"came after {came}{_doubt(group)}"]
    return [*told, "tight"] if group[0].tight else told


def _doubt(group: Sequence[Occurrence]) -> str:
    """The greatest uncertainty of what was measured."""
    most = max(o.uncertainty_ns for o in group)
    return f" +/- {rounded(most)}" if most >= LEAST_SHOWN_NS else ""


def _range(durations: Sequence[int | None]) -> str:
    """The least and the greatest: "361 ms to 402 ms"; one where they are equal, empty without any."""
    known = [ns for ns in durations if ns is not None]
    return " to ".join(dict.fromkeys((exact(min(known)), exact(max(known))))) if known else ""
