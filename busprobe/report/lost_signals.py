"""Signals that checks could not rely on: which, for how long, and where to look.

    gear: lost for at least 2.92 s at 431.689 s: check what sends it and the wires of the bus
    rear_door: chattering for at least 1.14 s at 375.450 s: check the switch and its wire

From what the occurrences say their signals said; the same loss seen by several checks is told once.
An occurrence lasts only while the other signals of its check leave it open, so the loss may be longer.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from busprobe.report.quantities import exact, moment
from busprobe.report.table import paragraph
from busprobe.results import CheckResult, Occurrence, Outcome

MOST_LISTED = 20
SAME_LOSS_NS = 1_000_000_000
"""Losses of one signal that begin so close together are one, seen through several checks."""

_UNKNOWN = re.compile(r"unknown \((lost|chattering|box down|adapter down|not seen again|not available)\)")
_ADVICE = {
    "lost": "check what sends it and the wires of the bus",
    "chattering": "check the switch and its wire",
    "box down": "check the box, its supply and its cable",
    "adapter down": "check the adapter, its plugs and its cable",
    "not seen again": "it did not come after the adapter was back: check what sends it",
    "not available": "check the sensor behind it: its sender says that it has no value",
}
"""Why it is unknown -> where to look."""


@dataclass(frozen=True)
class _Loss:
    t_ns: int
    signal: str
    reason: str
    length_ns: int | None


def lost_lines(checks: Sequence[CheckResult], start_ns: int) -> list[str]:
    """A short list of every signal lost, in order of time; empty without any."""
    losses = _once(sorted((x for c in checks for o in c.occurrences for x in _of(o)), key=lambda x: x.t_ns))
    if not losses:
        return []
    lines = ["", "Signals lost"]
    for loss in losses[:MOST_LISTED]:
        length = f" for at least {exact(loss.length_ns)}" if loss.length_ns is not None else ""
        told = f"{loss.signal}: {loss.reason}{length} at {moment(loss.t_ns, start_ns)}: {_ADVICE[loss.reason]}"
        lines += paragraph(told, indent=2, width=96)
    if len(losses) > MOST_LISTED:
        lines.append(f"  and {len(losses) - MOST_LISTED:,} more")
    return lines


def _of(one: Occurrence) -> Iterator[_Loss]:
    """What an undecided occurrence says of its signals; only an unknown stretch has a length."""
    if one.outcome is not Outcome.UNDECIDED:
        return
    for signal, text in (one.signals or {}).items():
        if why := _UNKNOWN.fullmatch(text):
            yield _Loss(one.t_ns if one.at_ns is None else one.at_ns, signal, why[1], one.length_ns)


def _once(losses: Sequence[_Loss]) -> list[_Loss]:
    """Each loss once, with its first time and its greatest length. losses: in order of time."""
    kept: list[_Loss] = []
    for loss in losses:
        for place, other in enumerate(kept):
            until = other.t_ns + max(other.length_ns or 0, SAME_LOSS_NS)
            if (other.signal, other.reason) == (loss.signal, loss.reason) and loss.t_ns <= until:
                lengths = [ns for ns in (other.length_ns, loss.length_ns) if ns is not None]
                kept[place] = _Loss(other.t_ns, other.signal, other.reason, max(lengths, default=None))
                break
        else:
            kept.append(loss)
    return kept
