"""What a report on checks is made from; the session's `VerifyReport` fits it."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from busprobe.errors import Problems
from busprobe.results import (
    CheckResult,
    LogLine,
    Marker,
    Occurrence,
    Outcome,
    Stretch,
    TriggerEntry,
    Verdict,
    WalkResult,
)

OUTCOMES = (Outcome.PASSED, Outcome.FAILED, Outcome.UNDECIDED, Outcome.ALREADY, Outcome.CUT)
"""In the order in which they are told."""
VERDICTS = (Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED, Verdict.NOT_EXERCISED)


class Verified(Protocol):
    """All that a run over a recording gave."""

    @property
    def checks(self) -> Sequence[CheckResult]: ...
    @property
    def triggers(self) -> Sequence[TriggerEntry]: ...
    @property
    def log(self) -> Sequence[LogLine]: ...
    @property
    def start_ns(self) -> int: ...
    @property
    def end_ns(self) -> int: ...
    @property
    def vehicle(self) -> str: ...
    @property
    def recording(self) -> str: ...
    @property
    def frames(self) -> int: ...
    @property
    def problems(self) -> Problems: ...
    @property
    def notes(self) -> Sequence[str]: ...
    @property
    def markers(self) -> Sequence[Marker]:
        """Notes set in the recording, in order of time."""
        ...

    @property
    def unknown(self) -> Sequence[Stretch]:
        """When signals were unknown without excuse."""
        ...

    @property
    def walk(self) -> Sequence[WalkResult]:
        """What the guided walk found, in the order found; those that a newer one supersedes too."""
        ...


@dataclass(frozen=True)
class Latencies:
    """How long it took to come, in time or late, in the occurrences of one check or of one part of it."""

    worst_ns: int
    median_ns: int
    """The mean of the middle two of an even count, to whole ns."""
    limit_ns: int | None
    uncertainty_ns: int
    """The greatest."""

    @property
    def margin_ns(self) -> int | None:
        """From the worst latency up to the limit; below zero where it was overrun."""
        return None if self.limit_ns is None else self.limit_ns - self.worst_ns


def latencies(check: CheckResult, occurrences: Sequence[Occurrence]) -> Latencies | None:
    """Worst and median of all that came in some occurrences of `check`, late ones too; None where none came."""
    measured = [(o.came_ns, o) for o in occurrences if o.came_ns is not None]
    if not measured:
        return None
    times = [latency for latency, _ in measured]
    limits = [o.limit_ns if o.limit_ns is not None else check.limit_ns for _, o in measured]
    known = [limit for limit in limits if limit is not None]
    return Latencies(
        max(times),
        int(statistics.median(times)),
        min(known) if known else None,
        max(o.uncertainty_ns for _, o in measured),
    )


def exit_status(checks: Sequence[CheckResult]) -> int:
    """0 all pass, 1 some check failed, 2 none failed but some undecided or not exercised."""
    verdicts = {check.verdict for check in checks}
    if Verdict.FAIL in verdicts:
        return 1
    return 2 if verdicts - {Verdict.PASS} else 0
