"""Which signals of a bench file a recording holds, and the `max_age` to write for them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from busprobe.analysis.intervals import IntervalStats, Sending
from busprobe.analysis.obd_seen import ObdSummary
from busprobe.analysis.survey_result import BoxSeen, IdentifierSeen, SurveyResult
from busprobe.bench.model import Tap

LEAST_MAX_AGE_NS = 100_000_000
WORD = 64
"""Bits of a payload word."""
MISSED_CYCLES = 3
"""A signal is unknown once so many of its cycles have gone by without a sample."""
NOT_DUE = "not sent in a cycle: operate it"
_STEP_NS = 10_000_000


class Presence(Enum):
    PRESENT = "present"
    STALE = "stale"
    """Seen, but older than its `max_age` when the recording of its channel ended."""
    MISSING = "missing"
    """Never seen."""


@dataclass(frozen=True)
class WantedTap:
    """One place that a signal of the bench file comes from, as the recording names it."""

    signal: str
    tap: Tap
    channel: str | None = None
    """Channel of the recording; None where the bus has none."""
    identifier: int | None = None
    extended: bool = False
    max_age_ns: int | None = None
    """The bench file's, else None."""
    cycle_ns: int | None = None
    """Cycle time that the database gives, or the time of a round of OBD requests."""
    bits: tuple[int, ...] = ()
    """Its bits in the payload, bit 0 the lowest of byte 0; empty where they are not always its own."""


@dataclass(frozen=True)
class TapSeen:
    """How one `WantedTap` fared."""

    signal: str
    tap: str
    presence: Presence
    count: int = 0
    """Samples: data frames, answers or polls."""
    last_ns: int | None = None
    age_ns: int | None = None
    """Its age when its channel or box ended."""
    max_age_ns: int | None = None
    """The bench file's."""
    proposed_ns: int | None = None
    """The `max_age` to write; None where the signal holds until its channel sleeps."""
    note: str = ""
    changed: bool | None = None
    """Whether it ever had another value; None where that cannot be told."""
    on_operation: bool = False
    """A message that the database has and that is not sent in a cycle: it may not have been due."""
    unasked: bool = False
    """An OBD quantity that nobody asked for."""
    absent: bool = False
    """Its bus or box gave nothing at all."""


def tap_presence(wanted: Iterable[WantedTap], found: SurveyResult, obd: ObdSummary) -> tuple[TapSeen, ...]:
    """How every wanted tap fared, in the order wanted."""
    ends = {channel.name: channel.last_ns for channel in found.channels}
    messages = {(one.channel, one.identifier, one.extended): one for one in found.identifiers if one.count}
    boxes = {box.name: box for box in found.boxes}
    result = []
    for want in wanted:
        if want.tap.kind == "message":
            key = (want.channel or "", want.identifier if want.identifier is not None else -1, want.extended)
            result.append(_message(want, messages.get(key), ends))
        elif want.tap.kind == "obd":
            result.append(_obd(want, obd, ends))
        else:
            box = boxes.get(want.tap.owner)
            result.append(_missing(want) if box is None else _line(want, box))
    return tuple(result)


def _missing(want: WantedTap) -> TapSeen:
    proposed = _at_least(MISSED_CYCLES * want.cycle_ns) if want.cycle_ns else None
    waits = want.tap.kind == "message" and want.channel is not None and not want.cycle_ns
    return TapSeen(
        want.signal, want.tap.text, Presence.MISSING, max_age_ns=want.max_age_ns, proposed_ns=proposed,
        note=NOT_DUE if waits else "", on_operation=waits, absent=want.channel is None,
    )  # fmt: skip


def _line(want: WantedTap, box: BoxSeen) -> TapSeen:
    edges = {line.name: line.edges for line in box.lines}.get(want.tap.message)
    return TapSeen(
        want.signal, want.tap.text, Presence.PRESENT, box.polls, box.last_ns, 0, want.max_age_ns,
        changed=None if edges is None else edges > 0,
    )  # fmt: skip


def _message(want: WantedTap, seen: IdentifierSeen | None, ends: dict[str, int]) -> TapSeen:
    if seen is None:
        return _missing(want)
    proposed = _proposed(want.cycle_ns, seen.intervals)
    limit = want.max_age_ns or proposed
    longest = seen.intervals.longest_ns or 0
    note = f"longest gap {longest / 1e9:.3g} s" if limit and longest > limit else ""
    age = ends[seen.channel] - seen.last_ns
    judged = _judged(want, seen.count, seen.last_ns, age_ns=age, proposed=proposed, note=note)
    return replace(judged, changed=_has_changed(want.bits, seen.changing) if want.bits else None)


def _has_changed(bits: Sequence[int], changing: Sequence[int]) -> bool:
    return any(changing[bit // WORD] >> bit % WORD & 1 for bit in bits if bit // WORD < len(changing))


def _obd(want: WantedTap, obd: ObdSummary, ends: dict[str, int]) -> TapSeen:
    name = ".".join(filter(None, (want.tap.message, want.tap.signal)))
    mine = [one for one in obd.values if one.service == 1 and one.name == name and one.channel == want.channel]
    if not mine:
        asked = {pid for tester in obd.testers if tester.channel == want.channel for pid in tester.pids}
        return replace(_missing(want), unasked=f"01 {want.tap.message}" not in asked)
    moved = [one.least != one.greatest for one in mine if one.least is not None]
    best = max(mine, key=lambda one: (one.count, one.control_unit))
    cycle = want.cycle_ns
    if cycle is None and best.count > 1:
        cycle = (best.last_ns - best.first_ns) // (best.count - 1)
    proposed = _at_least(MISSED_CYCLES * cycle) if cycle else None
    judged = _judged(want, best.count, best.last_ns, age_ns=ends[best.channel] - best.last_ns, proposed=proposed)
    return replace(judged, changed=any(moved) if moved else None)


def _judged(want: WantedTap, count: int, last_ns: int, *, age_ns: int, proposed: int | None, note: str = "") -> TapSeen:
    limit = want.max_age_ns or proposed
    presence = Presence.STALE if limit is not None and age_ns > limit else Presence.PRESENT
    return TapSeen(want.signal, want.tap.text, presence, count, last_ns, age_ns, want.max_age_ns, proposed, note)


def _proposed(cycle_ns: int | None, intervals: IntervalStats) -> int | None:
    """Three cycles of the database, else of the recording; None for a message sent on change."""
    if cycle_ns:
        return _at_least(MISSED_CYCLES * cycle_ns)
    if intervals.sending is Sending.CYCLIC and intervals.median_ns is not None:
        return _at_least(MISSED_CYCLES * intervals.median_ns)
    return None


def _at_least(age_ns: int) -> int:
    """At least 100 ms, rounded up to whole 10 ms."""
    return max(LEAST_MAX_AGE_NS, -(-age_ns // _STEP_NS) * _STEP_NS)
