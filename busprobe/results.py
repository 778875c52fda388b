"""Values that several layers pass on: occurrences, verdicts, trigger entries, findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum


class Outcome(Enum):
    """How one occurrence ended."""

    PASSED = "passed"
    FAILED = "failed"
    UNDECIDED = "undecided"
    ALREADY = "already so"
    CUT = "cut short"

    __hash__ = object.__hash__
    """Outcomes are counted by the thousand; Enum's own hash is slow."""


class Verdict(Enum):
    """What all occurrences of a check together say. Only PASS is a pass."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    NOT_EXERCISED = "not exercised"


SignalTexts = Mapping[str, str]
"""Signal name -> what it said, for a person: "R", "12.4 km/h", "on", "unknown"."""


@dataclass(frozen=True)
class Occurrence:
    """One time that a check was put to the test."""

    t_ns: int
    """When it began: the rise of `when`, the instant of the event, the start of the violation."""
    decided_ns: int
    """Event time at which the outcome could be told."""
    outcome: Outcome
    part: str = ""
    """"on" or "off" of a `follows` check, else empty."""
    latency_ns: int | None = None
    """From `t_ns` to the instant `expect` became true; None where it did not."""
    uncertainty_ns: int = 0
    """The latency is given plus or minus this; so is `came_after_ns`, and how early an early failure was."""
    tight: bool = False
    """Passed or failed by a margin smaller than the uncertainty."""
    length_ns: int | None = None
    """How long a violation or an unknown stretch lasted; None where not of that kind."""
    at_ns: int | None = None
    """The instant that decided a failure: the break, the early edge, the end of the window."""
    note: str = ""
    """Why: "early", "hold broken", "data ended", "chattering" ...; one short phrase."""
    signals: SignalTexts | None = None
    """What the signals that the check names said at `at_ns` (else at `t_ns`); at the start of what was unknown."""
    limit_ns: int | None = None
    """The latency's limit where it is not the check's: `off_within` of a `follows` check."""
    came_after_ns: int | None = None
    """Of a failure "not within the time allowed": how long after `t_ns` it came all the same."""
    never_came: bool = False
    """Of such a failure: `when` ended without it."""

    @property
    def came_ns(self) -> int | None:
        """How long after `t_ns` it came, in time or late; None where it did not, or nobody saw whether."""
        return self.came_after_ns if self.latency_ns is None else self.latency_ns


@dataclass(frozen=True)
class CheckResult:
    """A check, its verdict and every occurrence in order of (decided_ns, t_ns)."""

    name: str
    verdict: Verdict
    occurrences: Sequence[Occurrence]
    kind: str
    """"expect", "follows", "never" or "always"."""
    expected: str
    """What had to hold, as a sentence: "rear_white within 300 ms of gear == 'R'"."""
    limit_ns: int | None = None
    """`within` (the larger of on and off for `follows`); None for never and always."""
    start_not_seen: int = 0
    """How often `when` was true at first sight or after unknown."""
    glitches: int = 0
    """Pulses on the input lines named that the debounce took out."""
    needed: int = 1
    """So many passes (of each part) make it a pass."""
    when: str = ""
    """What puts it to the test: the text of `when` or `given`; empty where nothing has to happen."""
    when_known: bool = True
    """Whether it was ever known to be true or false."""

    def count(self, outcome: Outcome) -> int:
        return sum(o.outcome is outcome for o in self.occurrences)


@dataclass(frozen=True)
class TriggerEntry:
    """One line that a trigger logged."""

    name: str
    t_ns: int
    decided_ns: int
    signals: SignalTexts
    keep_from_ns: int | None = None
    keep_to_ns: int | None = None
    is_marker: bool = False
    """A press of the button that sets markers."""


@dataclass(frozen=True)
class Stretch:
    """A time in which a signal was unknown."""

    signal: str
    begin_ns: int
    end_ns: int | None
    """None: it lasted to the end of the data."""


@dataclass(frozen=True)
class Marker:
    """A note that somebody set at a time of a recording."""

    t_ns: int
    note: str


@dataclass(frozen=True)
class LogLine:
    """One line of the log: something that happened, and when it could be told."""

    decided_ns: int
    t_ns: int
    rank: int
    """Order within one instant: place in the bench file; sleep and wake before all."""
    kind: str
    """"trigger", "passed", "failed", "undecided", "already so", "cut short", "asleep", "awake", "walk"."""
    name: str
    text: str = ""


BUS_KINDS = ("asleep", "awake")
"""Kinds of lines of the log that tell of a bus."""
Logged = TriggerEntry | LogLine
"""A line of the trigger log as screens show it: what a trigger logged, or a bus that fell asleep or woke."""


class WalkOutcome(Enum):
    """What the guided walk found of a role."""

    CONFIRMED = "confirmed"
    WRONG_WAY = "wrong way round"
    OTHER = "other value"
    """Another position than the one asked for."""
    NOT_SEEN = "not seen"
    WIGGLED = "wiggle test"
    """Nothing was asked for: the signal was watched while somebody moved its wires."""
    NOTED = "noted"
    """A line that an earlier busprobe kept: what it says is in the text."""


@dataclass(frozen=True)
class WalkResult:
    """What the guided walk, or a wiggle test, found of one signal."""

    signal: str
    role: str
    """Empty of a wiggle test."""
    outcome: WalkOutcome
    edges: int
    bounce: int | None
    """Of a switch: changes of level beyond those that settled; None: not measurable, or no switch."""
    losses: int
    t_ns: int
    """When it was found."""
    took_ns: int
    """Since it was asked for."""
    text: str
    """Polarity, positions, value: one phrase."""
