"""Rows of the logic screen: checks, their occurrences, the trigger log."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from busprobe.grown import Grown, totals_of
from busprobe.report.trigger_log import entry_name
from busprobe.report.verified import OUTCOMES
from busprobe.results import CheckResult, Logged, Occurrence, Outcome, SignalTexts, TriggerEntry, Verdict
from busprobe.totals import PartTotals
from busprobe.tui.view.came import came_brief, came_text, doubt_text
from busprobe.tui.view.lazy_rows import Picked, RowMaker, TimedRows
from busprobe.tui.view.spans import Cell, Column, Row, Span, Tone, cell, matches
from busprobe.tui.view.times import SECOND, clock, span
from busprobe.tui.view.values import entry_sign

CHECK_COLUMNS = (
    Column("Verdict", 15),
    Column("Check", 24, grow=1),
    Column("Passed", 6, "right"),
    Column("Failed", 6, "right"),
    Column("Undecided", 9, "right", drop=2),
    Column("Already so", 10, "right", drop=4),
    Column("Cut short", 9, "right", drop=5),
    Column("Worst, late too", 18, "right", drop=3),
)
LATENCY_WIDTH = 17
OCCURRENCE_COLUMNS = (
    Column("Began", 10, "right"),
    Column("Outcome", 16),
    Column("Latency", LATENCY_WIDTH, "right"),
    Column("Spare", 8, "right", drop=2),
    Column("Lasted", 8, "right", drop=4),
    Column("Why", 13, grow=1),
)
TRIGGER_COLUMNS = (
    Column("Time", 10, "right"),
    Column("Logged", 20, grow=1),
    Column("Signals", 16, grow=2),
)

MINUTE = 60 * SECOND
_VERDICTS = {
    Verdict.PASS: Span("✓ pass", Tone.GOOD),
    Verdict.FAIL: Span("✗ FAIL", Tone.BAD),
    Verdict.UNDECIDED: Span("? undecided", Tone.WARN),
    Verdict.NOT_EXERCISED: Span("– not exercised", Tone.DIM),
}
_OUTCOMES = {
    Outcome.PASSED: Span("✓ passed", Tone.GOOD),
    Outcome.FAILED: Span("✗ FAILED", Tone.BAD),
    Outcome.UNDECIDED: Span("? undecided", Tone.WARN),
    Outcome.ALREADY: Span("= already so", Tone.DIM),
    Outcome.CUT: Span("/ cut short", Tone.DIM),
}
_TONES = {Outcome.PASSED: Tone.PLAIN, Outcome.FAILED: Tone.BAD, Outcome.UNDECIDED: Tone.WARN}


class LogicRows:
    """Rows made once for each result: a result that is unchanged is the same object in every picture."""

    def __init__(self) -> None:
        self._checks: dict[str, tuple[CheckResult, Row]] = {}
        self._occurrences: tuple[CheckResult, int, Sequence[Row]] | None = None
        self._occurrence_rows: RowMaker[Occurrence] = RowMaker(lambda one: one.part)
        self._triggers: tuple[tuple[object, ...], Sequence[Row]] = ((), ())
        self._trigger_rows: RowMaker[Logged] = RowMaker(entry_name)
        self._shown = ShownTriggers()
        self._start_ns = 0

    def checks(self, checks: Sequence[CheckResult], words: str) -> list[Row]:
        """One row a check, in the order of the bench file."""
        return [self._check(check) for check in checks if matches(words, check.name, check.verdict.value)]

    def _check(self, check: CheckResult) -> Row:
        made = self._checks.get(check.name)
        if made is None or made[0] is not check:
            made = self._checks[check.name] = (check, check_row(check))
        return made[1]

    def occurrences(self, check: CheckResult | None, start_ns: int) -> Sequence[Row]:
        """One row an occurrence, made when it comes into view."""
        if check is None:
            return ()
        old = self._occurrences
        if old is None or old[0] is not check or old[1] != start_ns:
            if old is None or old[0].name != check.name or old[1] != start_ns:
                self._occurrence_rows = RowMaker(lambda one: one.part)
            of = check
            rows = TimedRows(check.occurrences, self._occurrence_rows, lambda one: occurrence_row(of, one, start_ns))
            self._occurrences = old = (check, start_ns, rows)
        return old[2]

    def triggers(self, entries: Sequence[Logged], words: str, start_ns: int) -> Sequence[Row]:
        """One row an entry, oldest first, made when it comes into view."""
        ends = (id(entries[0]), id(entries[-1])) if entries else ()
        key = (words, len(entries), start_ns, ends)
        if key != self._triggers[0]:
            if start_ns != self._start_ns:
                self._start_ns, self._trigger_rows = start_ns, RowMaker(entry_name)
            shown = self._shown.of(entries, words)
            self._triggers = (key, TimedRows(shown, self._trigger_rows, lambda entry: trigger_row(entry, start_ns)))
        return self._triggers[1]


def check_row(check: CheckResult) -> Row:
    """Verdict, name, how often each outcome, the worst of all that came and its limit."""
    totals = totals_of(check.occurrences)
    counts = {outcome: totals.count(outcome) for outcome in OUTCOMES}
    verdict = _VERDICTS[check.verdict]
    cells = [_count(counts[outcome], _TONES.get(outcome, Tone.DIM)) for outcome in _ORDER]
    told = ", ".join(f"{count} {outcome.value}" for outcome, count in counts.items() if count)
    return Row(
        check.name,
        ((verdict,), cell(check.name), *cells, _worst(check)),
        f"{check.name}\t{check.verdict.value}\t{told or 'no occurrence'}\t{check.expected}",
    )


_ORDER = (Outcome.PASSED, Outcome.FAILED, Outcome.UNDECIDED, Outcome.ALREADY, Outcome.CUT)


def _count(count: int, tone: Tone) -> Cell:
    return cell(f"{count:,}", tone) if count else cell("·", Tone.DIM)


def _worst(check: CheckResult) -> Cell:
    of_parts = totals_of(check.occurrences).parts.values()
    parts = [part for part in of_parts if part.worst is not None or part.never_came]
    if check.limit_ns is None or not parts:
        return cell("–" if check.limit_ns is None else span(check.limit_ns), Tone.DIM)
    part = max(parts, key=_badness)
    told = worst_of(part, limit_of(check, part.first))
    if len(told.text) > CHECK_COLUMNS[-1].width:  # without the limit, which the line below the list says too
        told = Span(told.text.partition(" of ")[0], told.tone)
    return (told,)


def _badness(part: PartTotals) -> tuple[bool, bool, int]:
    """What never came is worse than what came late, and that worse than what took long: each part has its limit."""
    worst = part.worst
    is_late = worst is not None and worst.latency_ns is None
    return part.never_came > 0, is_late, 0 if worst is None else worst.came_ns or 0


def worst_of(part: PartTotals, limit_ns: int | None) -> Span:
    """How late it came at worst, of its limit: "232 ms of 300 ms", "✗ 429 ms of 300 ms", "✗ never of 300 ms".

    A tight pass has the sign that it has on the plot: "! 295 ms of 300 ms".
    """
    worst, limit = part.worst, span(limit_ns or 0)
    if part.never_came or worst is None:
        return Span(f"✗ never of {limit}", Tone.BAD)
    told = f"{span(worst.came_ns or 0)} of {limit}"
    if worst.latency_ns is None:
        return Span(f"✗ {told}", Tone.BAD)
    return Span(f"! {told}", Tone.WARN) if worst.tight else Span(told)


def limit_of(check: CheckResult, one: Occurrence) -> int | None:
    """The limit that holds for an occurrence: its own, else the check's."""
    return check.limit_ns if one.limit_ns is None else one.limit_ns


def occurrence_row(check: CheckResult, one: Occurrence, start_ns: int) -> Row:
    limit = limit_of(check, one)
    spare = None if one.came_ns is None or limit is None else limit - one.came_ns
    why = ", ".join(part for part in ("tight" if one.tight else "", came_text(one), one.note) if part)
    cells = (
        cell(clock(one.t_ns - start_ns, 3)),
        _outcome(one),
        cell(_short_latency(one)),
        cell("–" if spare is None else span(spare), Tone.WARN if one.tight else Tone.DIM),
        cell("–" if one.length_ns is None else span(one.length_ns), Tone.DIM),
        cell(why, Tone.WARN if one.tight else Tone.PLAIN),
    )
    return Row(f"{one.t_ns} {one.part}", cells, f"{check.name}\t{occurrence_text(one, start_ns)}")


def _outcome(one: Occurrence) -> Cell:
    """"✗ off FAILED"."""  # fmt: skip
    sign, word = _OUTCOMES[one.outcome].text.split(" ", 1)
    return cell(" ".join(part for part in (sign, one.part, word) if part), _OUTCOMES[one.outcome].tone)


def _latency(one: Occurrence) -> str:
    if one.latency_ns is None:
        return "–"
    return f"{span(one.latency_ns)} {doubt_text(one)}".rstrip()


def _short_latency(one: Occurrence) -> str:
    """The same where it has no more room than its column: what is told in whole seconds has no milliseconds.

    Of a failure that was followed, what came of it.
    """
    if one.came_ns is not None and one.came_ns >= MINUTE and one.uncertainty_ns < SECOND // 2:
        return span(one.came_ns)
    if one.came_after_ns is None:
        return came_brief(one) or _latency(one)
    exactly = f"{came_brief(one)} {doubt_text(one)}".rstrip()
    return exactly if len(exactly) <= LATENCY_WIDTH else f"{span(one.came_after_ns)} {doubt_text(one)}"


def instant_of(one: Occurrence) -> int:
    """Where to look: the instant that decided a failure, else the beginning."""
    return one.t_ns if one.at_ns is None else one.at_ns


def occurrence_text(one: Occurrence, start_ns: int) -> str:
    """A sentence: when, how it ended, why, what the signals said."""
    tight = " (tight)" if one.tight else ""
    parts = [f"{clock(one.t_ns - start_ns, 3)} {one.part}".rstrip() + f": {one.outcome.value}"]
    if one.latency_ns is not None:
        parts.append(f"after {_latency(one)}{tight}")
    if one.length_ns is not None:
        parts.append(f"lasted {span(one.length_ns)}")
    parts += [part for part in (one.note, came_text(one)) if part]
    if one.latency_ns is None:
        parts[-1] += tight
    text = ", ".join(parts)
    return f"{text}; at {clock(instant_of(one) - start_ns, 3)} {signals_text(one.signals)}" if one.signals else text


def signals_text(signals: SignalTexts) -> str:
    return ", ".join(f"{name} {text}" for name, text in signals.items())


def shown_triggers(entries: Sequence[Logged], words: str) -> list[tuple[int, Logged]]:
    """(place in the log, entry) of those that a filter lets through."""
    return [(i, e) for i, e in enumerate(entries) if matches(words, entry_name(e), entry_text(e))]


class ShownTriggers:
    """Those that a filter lets through; as the log grows only what is new in it is looked at."""

    def __init__(self) -> None:
        self._of: tuple[Sequence[Logged], str, list[int]] = ((), "", [])
        """What was looked at, for which words, and the places of those shown."""

    def of(self, entries: Sequence[Logged], words: str) -> Sequence[Logged]:
        if not words:
            return entries
        before, old_words, places = self._of
        shared = entries.shared_with(before) if isinstance(entries, Grown) and words == old_words else 0
        if shared < len(before):
            # Another log, or an earlier time of the same.
            places = places[: bisect_left(places, shared)]
        new = enumerate(entries[shared:], shared)
        places += [i for i, e in new if matches(words, entry_name(e), entry_text(e))]
        self._of = (entries, words, places)
        return Picked(entries, places, len(places))


def entry_text(entry: Logged) -> str:
    """What goes with a line of the log: what signals said, or why a bus counts as asleep or awake."""
    return signals_text(entry.signals) if isinstance(entry, TriggerEntry) else entry.text


def trigger_row(entry: Logged, start_ns: int) -> Row:
    here, name, text = clock(entry.t_ns - start_ns, 3), entry_name(entry), entry_text(entry)
    cells = (cell(here), (entry_sign(entry), Span(name)), cell(text, Tone.DIM))
    return Row(f"{entry.t_ns} {name}", cells, f"{here}\t{name}\t{text}")


def checks_title(*, is_whole: bool, here_ns: int) -> str:
    return "Checks, whole recording" if is_whole else f"Checks, up to {clock(here_ns)}"


def no_checks(words: str) -> str:
    """Instead of checks where there are none to show. words: the filter."""
    return "No check has these words." if words else "The bench file has no checks."


def no_triggers(words: str, *, is_whole: bool) -> str:
    """Instead of the trigger log. is_whole: nothing more will come."""
    if words:
        return "Nothing with these words was triggered."
    return "Nothing was triggered." if is_whole else "Nothing was triggered yet."


def triggers_title(shown: int, count: int) -> str:
    return f"Trigger log, {shown:,} of {count:,}" if shown != count else f"Trigger log, {count:,}"
