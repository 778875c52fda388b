"""What a picture after the other adds to what was seen of one signal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from busprobe.engine.history import NO_BOUNCE, Bounce
from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.session.walk_tasks import switch_words
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
    """Start of the run: a recording that is switched on begins another, from unknown; the action goes on."""
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
    chatters: int = 0
    """How often its contact chattered: unknown meanwhile, and yet not lost."""
    is_known: bool = False
    is_lost: bool = False
    first_on: bool | None = None
    """Level at first; None: not known yet."""
    settled_on: bool | None = None
    moved_ns: int | None = None
    """When it last changed."""
    position: int = 0
    skipped: tuple[tuple[int, str], ...] = ()
    """Places of positions that were given up, each with what it said instead."""
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


def is_known(now: SignalNow) -> bool:
    """Whether it has a value; a picture says unknown as soon as one is older than it may get."""
    return now.code <= TRUE


def is_lost(now: SignalNow) -> bool:
    """Whether it has no value, and not for a chattering contact."""
    return not is_known(now) and not now.bounce.is_chattering


def lost_ns(now: SignalNow, picture: Snapshot) -> int:
    """Since when it is lost."""
    return picture.t_ns if now.since_ns is None else now.since_ns


def chatters(now: SignalNow) -> int:
    """How often its contact has chattered so far, with the time at hand."""
    return now.bounce.chatters + now.bounce.is_chattering


def is_on(now: SignalNow) -> bool | None:
    """ON or OFF of a switch; None: unknown."""
    if not is_known(now):
        return None
    if now.is_condition:
        return now.code == TRUE
    return None if now.value is None else now.value != 0


def says(now: SignalNow) -> str:
    """What a switch says, in the words in which it is asked for, whatever its labels."""
    on = is_on(now)
    return now.text if on is None else switch_words(now.role)[0 if on else 1]


def is_quantity(now: SignalNow) -> bool:
    """Whether it changes all the time by its nature: its changes are counted and not heard."""
    return not now.is_condition and not now.labels and now.unit is not None


def first_seen(now: SignalNow, picture: Snapshot) -> Seen:
    """The first picture after asking."""
    level = is_on(now)
    value = now.value or 0.0
    return Seen(
        picture.start_ns, picture.t_ns, picture.t_ns, now.edges, now.bounce, now.bounce, is_known=is_known(now),
        is_lost=is_lost(now), first_on=level, settled_on=level, low=value, high=value, poll_ns=now.poll_ns,
    )  # fmt: skip


def is_anew(seen: Seen, now: SignalNow, picture: Snapshot) -> bool:
    """Whether a picture is of a time before: what was seen does not lead there."""
    return picture.start_ns == seen.run_ns and (picture.t_ns < seen.t_ns or now.edges < seen.counted)


def _without_gap(seen: Seen, now: SignalNow, picture: Snapshot) -> Seen:
    """What was seen, its counts as if nothing had happened up to this picture."""
    before = seen.before._replace(
        glitches=now.bounce.glitches - seen.glitches,
        extra=now.bounce.extra - (seen.taken_out.extra - seen.before.extra),
        chatters=chatters(now) - seen.chatters,
    )
    return replace(
        seen, run_ns=picture.start_ns, t_ns=picture.t_ns, counted=now.edges, is_known=is_known(now),
        is_lost=is_lost(now), before=before, taken_out=now.bounce,
    )  # fmt: skip


def look(seen: Seen, now: SignalNow, picture: Snapshot) -> tuple[Seen, tuple[Happening, ...]]:
    """What one picture adds."""
    t_ns, known, level = picture.t_ns, is_known(now), is_on(now)
    seen = replace(seen, poll_ns=max((p for p in (seen.poll_ns, now.poll_ns) if p is not None), default=None))
    if t_ns - seen.t_ns > JUMP_NS:
        first_on = seen.first_on if seen.edges else level
        return replace(_without_gap(seen, now, picture), settled_on=level, first_on=first_on), ()
    if picture.start_ns != seen.run_ns:
        seen = _without_gap(seen, now, picture)
    new, happened = now.edges - seen.counted, []
    if new and not is_quantity(now):
        happened.append(Happening.EDGE)
    is_new_loss = is_lost(now) and not seen.is_lost
    if is_new_loss:
        happened.append(Happening.LOSS)
    moved_ns = seen.moved_ns if not new else now.since_ns if known and now.since_ns is not None else t_ns
    seen = replace(
        seen, t_ns=t_ns, counted=now.edges, taken_out=now.bounce, raw_edges=seen.raw_edges + new, is_known=known,
        is_lost=is_lost(now), moved_ns=moved_ns, losses=seen.losses + is_new_loss,
        chatters=max(seen.chatters, chatters(now) - seen.before.chatters),
        first_on=level if seen.first_on is None else seen.first_on,
        low=min(seen.low, now.value or 0.0), high=max(seen.high, now.value or 0.0),
    )  # fmt: skip
    if level is None or now.since_ns is None or t_ns - now.since_ns < SETTLED_NS or level == seen.settled_on:
        return seen, tuple(happened)
    if seen.settled_on is None:
        return replace(seen, settled_on=level), tuple(happened)
    return replace(seen, settled_on=level, edges=seen.edges + 1, moved_ns=now.since_ns), tuple(happened)
