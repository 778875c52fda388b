"""What a picture after the other adds to what was seen of one signal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from busprobe.engine.history import NO_BOUNCE, Bounce
from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.sources.pace import is_bounce_measurable
from busprobe.timeline import TRUE

MS = 1_000_000
SETTLED_NS = 50 * MS
"""A level counts once it has held for this long; shorter ones are bounce."""
JUMP_NS = 2_000 * MS
"""Between two pictures further apart nothing is counted: somebody looked at another screen."""


class Happening(Enum):
    """What a person at the other end of the vehicle wants to hear."""

    PROMPT = "prompt"
    EDGE = "edge"
    LOSS = "loss"
    RESULT = "result"


@dataclass(frozen=True)
class Seen:
    """What was seen since the action was asked for."""

    run_ns: int
    """Start of the run: a recording that is switched on begins another, from unknown."""
    asked_ns: int
    t_ns: int
    counted: int
    """Edges of the signal at the last picture."""
    before: Bounce
    """What the debounce of its line had taken out when asked."""
    taken_out: Bounce = NO_BOUNCE
    """... and by the last picture."""
    raw_edges: int = 0
    edges: int = 0
    """Changes of level that settled."""
    losses: int = 0
    is_known: bool = False
    first_on: bool | None = None
    """Level at first; None: not known yet."""
    settled_on: bool | None = None
    moved_ns: int | None = None
    """When it last changed."""
    position: int = 0
    missing: tuple[str, ...] = ()
    """Positions that were given up, with what it said instead."""
    low: float = 0.0
    high: float = 0.0
    poll_ns: int | None = None
    """The longest time between polls of its input lines so far; None: it comes from none."""

    @property
    def sees_bounce(self) -> bool:
        """Whether bounce could be measured all the time."""
        return self.poll_ns is None or is_bounce_measurable(self.poll_ns)

    @property
    def bounce(self) -> int:
        """Transitions beyond those that settled, in the signal and below its debounce."""
        return max(self.raw_edges - self.edges, 0) + self.taken_out.extra - self.before.extra

    @property
    def glitches(self) -> int:
        """Pulses that the debounce took out since it was asked."""
        return self.taken_out.glitches - self.before.glitches

    @property
    def quiet_since_ns(self) -> int:
        return self.asked_ns if self.moved_ns is None else max(self.moved_ns, self.asked_ns)


def is_on(now: SignalNow) -> bool | None:
    """ON or OFF of a switch; None: unknown."""
    if now.code > TRUE:
        return None
    if now.is_condition:
        return now.code == TRUE
    return None if now.value is None else now.value != 0


def is_quantity(now: SignalNow) -> bool:
    """Whether it changes all the time by its nature: its changes are counted and not heard."""
    return not now.is_condition and not now.labels and now.unit is not None


def first_seen(now: SignalNow, picture: Snapshot) -> Seen:
    """The first picture after asking."""
    level = is_on(now)
    value = now.value or 0.0
    return Seen(
        picture.start_ns, picture.t_ns, picture.t_ns, now.edges, now.bounce, now.bounce, is_known=now.code <= TRUE,
        first_on=level, settled_on=level, low=value, high=value, poll_ns=now.poll_ns,
    )  # fmt: skip


def is_anew(seen: Seen, now: SignalNow, picture: Snapshot) -> bool:
    """Whether a picture is of another run, or of a time before: what was seen does not lead there."""
    return picture.start_ns != seen.run_ns or picture.t_ns < seen.t_ns or now.edges < seen.counted


def look(seen: Seen, now: SignalNow, picture: Snapshot) -> tuple[Seen, tuple[Happening, ...]]:
    """What one picture adds."""
    t_ns, known, level = picture.t_ns, now.code <= TRUE, is_on(now)
    seen = replace(seen, poll_ns=max((p for p in (seen.poll_ns, now.poll_ns) if p is not None), default=None))
    if t_ns - seen.t_ns > JUMP_NS:
        before = seen.before._replace(
            glitches=now.bounce.glitches - seen.glitches,
            extra=now.bounce.extra - (seen.taken_out.extra - seen.before.extra),
        )
        return replace(
            seen, t_ns=t_ns, counted=now.edges, is_known=known, settled_on=level, before=before, taken_out=now.bounce
        ), ()
    new, happened = now.edges - seen.counted, []
    if new and not is_quantity(now):
        happened.append(Happening.EDGE)
    if seen.is_known and not known:
        happened.append(Happening.LOSS)
    moved_ns = seen.moved_ns if not new else now.since_ns if known and now.since_ns is not None else t_ns
    seen = replace(
        seen, t_ns=t_ns, counted=now.edges, taken_out=now.bounce, raw_edges=seen.raw_edges + new, is_known=known,
        moved_ns=moved_ns,
        losses=seen.losses + (seen.is_known and not known), first_on=level if seen.first_on is None else seen.first_on,
        low=min(seen.low, now.value or 0.0), high=max(seen.high, now.value or 0.0),
    )  # fmt: skip
    if level is None or now.since_ns is None or t_ns - now.since_ns < SETTLED_NS or level == seen.settled_on:
        return seen, tuple(happened)
    edges = seen.edges + (seen.settled_on is not None)
    return replace(seen, settled_on=level, edges=edges), tuple(happened)
