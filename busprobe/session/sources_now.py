"""Sources and recorder in a picture, at the instant shown."""

from __future__ import annotations

from dataclasses import dataclass

from busprobe.engine.history import NO_BOUNCE, Bounce
from busprobe.health import Faults


@dataclass(frozen=True)
class SourceNow:
    """A bus adapter or input box."""

    name: str
    kind: str
    """"bus" or "box"."""
    is_up: bool
    records: int
    per_second: float
    load: float | None
    errors: int
    lost: int | None
    """None: a recording does not tell."""
    gaps: int
    uncertainty_ns: int
    period_ns: int | None
    state: str
    trouble: str
    """What it said when it was lost: what to do, in one or more lines."""
    listening: str
    faults: tuple[Faults, ...] = ()
    """Of a box: its errors by kind."""
    bounce: Bounce = NO_BOUNCE
    """What the debounce of its lines has taken out so far."""
    asleep: bool = False
    sees_bounce: bool = True
    """Whether its lines are polled often enough to measure bounce."""
    described: int = 0
    """Of a bus: messages that its databases describe."""
    heard_ns: int | None = None
    """Of a bus: time of its first frame."""


@dataclass(frozen=True)
class RecorderNow:
    name: str
    rows: int
    bytes: int
    free: int
    failure: str
    """Why it stopped; empty while it records."""
    is_closing: bool = False
    """It was stopped; its file is being closed."""
