"""The verdict of a check from its occurrences."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.grown import totals_of
from busprobe.results import Occurrence, Outcome, Verdict


def verdict(occurrences: Sequence[Occurrence], min_full: int, parts: tuple[str, ...]) -> Verdict:
    """Fail before undecided before pass; a pass takes `min_full` passed ones of every part."""
    totals = totals_of(occurrences)
    if totals.count(Outcome.FAILED):
        return Verdict.FAIL
    if totals.count(Outcome.UNDECIDED):
        return Verdict.UNDECIDED
    if all(totals.count(Outcome.PASSED, part) >= min_full for part in parts):
        return Verdict.PASS
    return Verdict.NOT_EXERCISED
