"""How a source is doing, who asks on it, and what of that a recording keeps; for people, never for logic."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Faults:
    """What went wrong on an input box, of one kind."""

    kind: str
    """"unreadable line", "time-out"; one word for many takes an s."""
    count: int
    last: str
    """What the last one was, a sentence."""
    hint: str
    """What to do next, a sentence."""


@dataclass(frozen=True)
class Health:
    """How a source has been doing since it was opened."""

    records: int = 0
    """Frames or polls given."""
    errors: int = 0
    """Error frames, exceptions and time-outs of the box, unreadable lines."""
    lost: int = 0
    """Records that the driver says it dropped."""
    uncertainty_ns: int = 0
    """How exactly its records are stamped."""
    period_ns: int | None = None
    """Input box: achieved time between polls, median of the newest ones."""
    state: str = ""
    """Of a bus: "active", "passive", "off"; of a box: what it last said was wrong; else empty."""
    listening: str = ""
    """Of a bus: how it is kept from sending; see `sources.listening`."""
    faults: tuple[Faults, ...] = ()
    """Of an input box: its errors by kind."""

    def counted_on(self, before: Health) -> Health:
        """The same, errors and losses added to those of earlier connections."""
        faults = {one.kind: one for one in before.faults}
        for one in self.faults:
            faults[one.kind] = replace(one, count=one.count + _count(one.kind, before.faults))
        return replace(
            self, errors=self.errors + before.errors, lost=self.lost + before.lost, faults=tuple(faults.values())
        )

    def since(self, start: Health) -> Health:
        """The same, without the errors and losses up to some time."""
        left = [replace(one, count=one.count - _count(one.kind, start.faults)) for one in self.faults]
        return replace(
            self,
            errors=self.errors - start.errors,
            lost=self.lost - start.lost,
            faults=tuple(one for one in left if one.count),
        )

    def at_least(self, errors: int) -> Health:
        """The same, error frames that were counted elsewhere among its errors."""
        return replace(self, errors=max(self.errors, errors))


@dataclass(frozen=True)
class HealthRow:
    """How a source had been doing from the start of a recording up to a time."""

    t_ns: int
    source: str
    health: Health


MOST_ASKED = 100
"""Different requests of another tester that are kept; every second they go into the recording."""


@dataclass(frozen=True)
class OtherTester:
    """Somebody else who asks on the bus."""

    identifiers: tuple[int, ...]
    """That it asks on, in the order of first sight."""
    requests: int
    first_ns: int
    last_ns: int
    per_second: float | None
    """Of its newest requests; None for a single one."""
    asked: tuple[str, ...]
    """Service, and what follows two digits each: "01 0C 0D", "03"; in the order of first sight, the first MOST_ASKED
    different ones: one that writes into a unit never asks the same twice.
    """
    stray_answers: int = 0
    """Frames of answers that were not asked for here: it may ask on the other side of a gateway."""

    def further(self, shown: int) -> str:
        """How many different ones it asked for beyond the first `shown`: "3", "many"; empty where none."""
        left = len(self.asked) - shown
        return "" if left <= 0 else "many" if len(self.asked) >= MOST_ASKED else str(left)


@dataclass(frozen=True)
class RequestsNow:
    """OBD requests on a bus: busprobe's own where it was given leave, and those of another tester."""

    bus: str
    is_polled: bool = False
    """busprobe asks here, as `[obd] poll` wants it."""
    sent: int = 0
    per_second: float = 0.0
    """Of busprobe's own, over the last 10 s or so."""
    every_ns: int | None = None
    """As the bench file wants it."""
    period_ns: int | None = None
    """As achieved."""
    unanswered: int = 0
    refused: int = 0
    """Requests that a unit refused."""
    incomplete: int = 0
    paused: str = ""
    """Why nothing is asked now; a sentence."""
    other: OtherTester | None = None
    """Who else has asked since the start."""
    is_other_asking: bool = False
    """Within the last 5 s."""
    not_taken: int = 0
    """Requests that the adapter did not take."""
    unasked: str = ""
    """That nobody asks for what the bench file polls here; a sentence or two."""

    def since(self, start: RequestsNow) -> RequestsNow:
        """The same, without what was sent and heard up to some time."""
        return replace(
            self,
            sent=self.sent - start.sent,
            unanswered=self.unanswered - start.unanswered,
            refused=self.refused - start.refused,
            incomplete=self.incomplete - start.incomplete,
            not_taken=self.not_taken - start.not_taken,
            other=_other_since(self.other, start.other),
        )


def _other_since(other: OtherTester | None, start: OtherTester | None) -> OtherTester | None:
    if other is None or start is None:
        return other
    requests, strays = other.requests - start.requests, other.stray_answers - start.stray_answers
    if other.last_ns == start.last_ns:
        return None
    return replace(other, requests=requests, stray_answers=strays)


@dataclass(frozen=True)
class RequestsRow:
    """What had been asked on a bus from the start of a recording up to a time."""

    t_ns: int
    requests: RequestsNow


class FaultTally:
    """Counts faults by kind."""

    def __init__(self) -> None:
        self._found: dict[str, Faults] = {}

    def note(self, kind: str, text: str, hint: str) -> None:
        known = self._found.get(kind)
        self._found[kind] = Faults(kind, 1 if known is None else known.count + 1, text, hint)

    @property
    def count(self) -> int:
        return sum(one.count for one in self._found.values())

    @property
    def found(self) -> tuple[Faults, ...]:
        """By kind, in the order of first sight."""
        return tuple(self._found.values())


def _count(kind: str, faults: Iterable[Faults]) -> int:
    return sum(one.count for one in faults if one.kind == kind)
