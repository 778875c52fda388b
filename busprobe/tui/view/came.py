"""What came of a failure after its limit, and how exactly a latency is known, in words."""

from __future__ import annotations

from busprobe.report.quantities import exact
from busprobe.results import Occurrence
from busprobe.tui.view.times import LEAST_NS, span


def came_text(one: Occurrence) -> str:
    """"came after 428.6 ms ± 10 ms", "never came while it lasted"; empty where it was not followed."""  # fmt: skip
    if one.came_after_ns is not None:
        return f"came after {exact(one.came_after_ns)} {doubt_text(one)}".rstrip()
    return "never came while it lasted" if one.never_came else ""


def came_brief(one: Occurrence) -> str:
    """The same for a narrow column: "428.6 ms", "never"."""
    if one.came_after_ns is not None:
        return exact(one.came_after_ns)
    return "never" if one.never_came else ""


def doubt_text(one: Occurrence) -> str:
    """By how much what was measured may be wrong: "± 10 ms"; empty where that is nothing to speak of."""
    return f"± {span(one.uncertainty_ns)}" if one.uncertainty_ns >= LEAST_NS else ""
