"""Lines on OBD requests: busprobe's own, and those of another tester."""

from __future__ import annotations

from busprobe.bench.units import duration_text
from busprobe.health import RequestsNow
from busprobe.report.quantities import counted, rounded
from busprobe.report.vehicle_text import who_asks
from busprobe.session.snapshot import Snapshot
from busprobe.tui.view.spans import Line, Span, Tone


def request_lines(picture: Snapshot) -> list[Line]:
    """What is asked on each bus, and why nothing is asked now."""
    lines: list[Line] = []
    for one in picture.requests:
        if one.is_polled:
            lines.append(_own(one))
            if one.paused:
                lines.append(_named(one, "requests paused", Span(" ".join(one.paused.split()), Tone.WARN)))
        if one.other is not None:
            tone = Tone.WARN if one.is_other_asking else Tone.DIM
            ended = "" if one.is_other_asking else " It is silent now."
            lines.append(_named(one, "another tester", Span(f"{who_asks(one.other)}{ended}", tone)))
    return lines


def _named(one: RequestsNow, what: str, told: Span) -> Line:
    return Span(f" {one.bus}, {what}: ", Tone.HEAD), told


def _own(one: RequestsNow) -> Line:
    parts = [f"{counted(one.sent, 'request')} sent"]
    if one.sent:
        parts.append(f"{one.per_second:.1f} a second")
    if one.every_ns is not None:
        achieved = f" ({rounded(one.period_ns)} achieved)" if one.period_ns is not None else ""
        parts.append(f"polled every {duration_text(one.every_ns)}{achieved}")
    told = Span(", ".join(parts), Tone.PLAIN)
    faults = [
        (one.unanswered, "unanswered"),
        (one.refused, "refused"),
        (one.incomplete, "with an answer that broke off"),
        (one.not_taken, "not taken by the adapter"),
    ]
    amiss = "".join(f", ! {count:,} {what}" for count, what in faults if count)
    return Span(f" {one.bus}, OBD: ", Tone.HEAD), told, Span(amiss, Tone.WARN)
