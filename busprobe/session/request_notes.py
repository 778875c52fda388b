"""How asking for OBD data went, and who else asked, as sentences of a report."""

from __future__ import annotations

from collections.abc import Iterable

from busprobe.bench.units import duration_text
from busprobe.health import RequestsNow
from busprobe.report.quantities import counted, rounded
from busprobe.report.vehicle_text import who_asks


def request_notes(requests: Iterable[RequestsNow]) -> list[str]:
    """First what busprobe asked itself, then the other testers by bus."""
    ordered = sorted(requests, key=lambda one: (not one.is_polled, one.bus))
    own = [note for one in ordered if one.is_polled for note in own_notes(one)]
    return [*own, *(f"{one.bus}, another tester: {who_asks(one.other)}" for one in ordered if one.other is not None)]


def own_notes(found: RequestsNow) -> list[str]:
    """How busprobe's own asking on a bus went."""
    not_taken = f"The adapter did not take {counted(found.not_taken, 'OBD request')}." if found.not_taken else ""
    if not found.sent:
        return [" ".join(part for part in ("No OBD request was sent.", not_taken, found.paused) if part)]
    achieved = f", {rounded(found.period_ns)} achieved" if found.period_ns is not None else ""
    told = [f"every {duration_text(found.every_ns or 0)}{achieved}"]
    counts = (
        (found.unanswered, "unanswered"),
        (found.refused, "refused"),
        (found.incomplete, "with an answer that broke off"),
    )
    told += [f"{count:,} {what}" for count, what in counts if count]
    notes = [f"{counted(found.sent, 'OBD request')} sent on {found.bus}: {', '.join(told)}."]
    return [*notes, *(part for part in (not_taken, found.paused) if part)]
