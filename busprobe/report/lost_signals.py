"""Signals that checks could not rely on: which, for how long, and where to look.

    gear: lost for 3.41 s from 431.200 s: check what sends it and the wires of the bus
    rear_door: chattering for at least 1.14 s at 375.450 s: check the switch and its wire

Which ones, the occurrences tell: what their signals said. The same loss seen by several checks is told
once. Where it is not known how long a signal was unknown, all that can be said is how long an
occurrence was undecided, which also ends when the other signals of its check decide it.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from busprobe.report.quantities import exact, moment
from busprobe.report.table import paragraph
from busprobe.results import CheckResult, Occurrence, Outcome, Stretch

MOST_LISTED = 20
SAME_LOSS_NS = 1_000_000_000
"""Losses of one signal that begin so close together are one, seen through several checks."""

_ADVICE = {
    "lost": "check what sends it and the wires of the bus",
    "chattering": "check the switch and its wire",
    "box down": "check the box, its supply and its cable",
    "recording damaged": "look for another copy of the recording",
    "adapter down": "check the adapter, its plugs and its cable",
    "not seen again": "it did not come after the adapter was back: check what sends it",
    "not available": "check the sensor behind it: its sender says that it has no value",
}
"""Why it is unknown -> where to look."""
_UNKNOWN = re.compile(rf"unknown \(({'|'.join(_ADVICE)})\)")


@dataclass(frozen=True)
class _Loss:
    t_ns: int
    signal: str
    reasons: tuple[str, ...]
    length_ns: int | None
    stretch: Stretch | None = None
    """The whole time in which it was unknown; None: not known."""


def lost_lines(checks: Sequence[CheckResult], start_ns: int, unknown: Sequence[Stretch] = ()) -> list[str]:
    """A short list of every signal lost, in order of time; empty without any. unknown: when signals were."""
    of_signal: dict[str, list[Stretch]] = {}
    for one in sorted(unknown, key=_begin):
        of_signal.setdefault(one.signal, []).append(one)
    found = [_whole(x, of_signal.get(x.signal, [])) for c in checks for o in c.occurrences for x in _of(o)]
    losses = _once(sorted(found, key=lambda x: x.t_ns))
    if not losses:
        return []
    lines = ["", "Signals lost"]
    for loss in losses[:MOST_LISTED]:
        told = f"{loss.signal}: {', then '.join(loss.reasons)}{_when(loss, start_ns)}: {_ADVICE[loss.reasons[-1]]}"
        lines += paragraph(told, indent=2, width=96)
    if len(losses) > MOST_LISTED:
        lines.append(f"  and {len(losses) - MOST_LISTED:,} more")
    return lines


def _when(loss: _Loss, start_ns: int) -> str:
    if loss.stretch is not None:
        begin = moment(loss.stretch.begin_ns, start_ns)
        if loss.stretch.end_ns is None:
            return f" from {begin} to the end"
        return f" for {exact(loss.stretch.end_ns - loss.stretch.begin_ns)} from {begin}"
    length = f" for at least {exact(loss.length_ns)}" if loss.length_ns is not None else ""
    return f"{length} at {moment(loss.t_ns, start_ns)}"


def _of(one: Occurrence) -> Iterator[_Loss]:
    """What an undecided occurrence says of its signals; only an unknown stretch has a length."""
    if one.outcome is not Outcome.UNDECIDED:
        return
    for signal, text in (one.signals or {}).items():
        if why := _UNKNOWN.fullmatch(text):
            yield _Loss(one.t_ns if one.at_ns is None else one.at_ns, signal, (why[1],), one.length_ns)


def _whole(loss: _Loss, unknown: Sequence[Stretch]) -> _Loss:
    """The same with all of the time in which the signal was unknown. unknown: when it was, in order of time."""
    place = bisect_right(unknown, loss.t_ns, key=_begin) - 1
    one = unknown[place] if place >= 0 else None
    if one is None or (one.end_ns is not None and one.end_ns <= loss.t_ns):
        return loss
    return replace(loss, stretch=one)


def _begin(one: Stretch) -> int:
    return one.begin_ns


def _once(losses: Sequence[_Loss]) -> list[_Loss]:
    """Each loss once, with its first time, its greatest length, and all reasons. losses: in order of time."""
    kept: list[_Loss] = []
    for loss in losses:
        for place, other in enumerate(kept):
            if _is_same(other, loss):
                lengths = [ns for ns in (other.length_ns, loss.length_ns) if ns is not None]
                reasons = tuple(dict.fromkeys((*other.reasons, *loss.reasons)))
                kept[place] = replace(other, reasons=reasons, length_ns=max(lengths, default=None))
                break
        else:
            kept.append(loss)
    return kept


def _is_same(one: _Loss, later: _Loss) -> bool:
    if one.signal != later.signal:
        return False
    if one.stretch is not None or later.stretch is not None:
        return one.stretch is later.stretch
    return one.reasons == later.reasons and later.t_ns <= one.t_ns + max(one.length_ns or 0, SAME_LOSS_NS)
