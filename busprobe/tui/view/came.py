"""What came of a failure after its limit, in words."""

from __future__ import annotations

from busprobe.report.quantities import exact
from busprobe.results import Occurrence


def came_text(one: Occurrence) -> str:
    """"came after 428.6 ms", "never came while it lasted"; empty where it was not followed."""  # fmt: skip
    if one.came_after_ns is not None:
        return f"came after {exact(one.came_after_ns)}"
    return "never came while it lasted" if one.never_came else ""


def came_brief(one: Occurrence) -> str:
    """The same for a narrow column: "428.6 ms", "never"."""
    if one.came_after_ns is not None:
        return exact(one.came_after_ns)
    return "never" if one.never_came else ""
