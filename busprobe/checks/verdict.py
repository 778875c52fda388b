"""The verdict of a check from its occurrences."""

from __future__ import annotations

from collections.abc import Iterable

from busprobe.results import Occurrence, Outcome, Verdict


def verdict(occurrences: Iterable[Occurrence], min_full: int, parts: tuple[str, ...]) -> Verdict:
    """Fail before undecided before pass; a pass takes `min_full` passed ones of every part."""
    found = list(occurrences)
    outcomes = {o.outcome for o in found}
    if Outcome.FAILED in outcomes:
        return Verdict.FAIL
    if Outcome.UNDECIDED in outcomes:
        return Verdict.UNDECIDED
    passed = [o.part for o in found if o.outcome is Outcome.PASSED]
    if all(passed.count(part) >= min_full for part in parts):
        return Verdict.PASS
    return Verdict.NOT_EXERCISED
