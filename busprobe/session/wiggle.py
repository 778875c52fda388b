"""The wiggle test: one signal watched for edges, chatter and losses while somebody moves its wires."""

from __future__ import annotations

from dataclasses import dataclass, replace

from busprobe.errors import counted
from busprobe.report.quantities import times
from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.session.walk_seen import Happening, chatters, is_known, is_lost, is_quantity, lost_ns


@dataclass(frozen=True)
class Wiggle:
    """What was seen of one signal since the test began."""

    signal: str
    run_ns: int | None = None
    """Start of the run that it is of: a recording that is switched on begins another, and the test goes on."""
    start_ns: int | None = None
    """None until the first picture."""
    t_ns: int = 0
    counted: int = 0
    """Edges of the signal at the last picture."""
    raw_counted: int = 0
    """Changes of level of its line at the last picture."""
    chatters_before: int = 0
    """How often it had chattered when its run was first seen, less those of runs before."""
    is_lost: bool = False
    edges: int = 0
    raw_edges: int = 0
    """Changes of level of its input line, before the debounce."""
    chatters: int = 0
    """How often its contact chattered: unknown meanwhile, and yet not lost."""
    losses: int = 0
    last_edge_ns: int | None = None
    last_loss_ns: int | None = None


def watch_wiggle(wiggle: Wiggle, picture: Snapshot) -> tuple[Wiggle, tuple[Happening, ...]]:
    """Take in a picture; a step back in time begins anew."""
    now = picture.signal(wiggle.signal)
    if now is None:
        return wiggle, ()
    if wiggle.start_ns is None:
        return _begun(Wiggle(wiggle.signal, start_ns=picture.t_ns), now, picture), ()
    if picture.start_ns != wiggle.run_ns:
        wiggle = _begun(wiggle, now, picture)
    elif picture.t_ns < wiggle.t_ns or now.edges < wiggle.counted:
        return _begun(Wiggle(wiggle.signal, start_ns=picture.t_ns), now, picture), ()
    new, raw = now.edges - wiggle.counted, max(now.bounce.transitions - wiggle.raw_counted, 0)
    is_new_loss = is_lost(now) and not wiggle.is_lost
    is_unheard = new > 0 and wiggle.edges + new > wiggle.raw_edges + raw and not is_quantity(now)
    heard = raw or is_unheard  # an edge that the debounce lets through was heard as it came
    happened = (*((Happening.EDGE,) if heard else ()), *((Happening.LOSS,) if is_new_loss else ()))
    at = picture.t_ns if now.since_ns is None or not new or not is_known(now) else now.since_ns
    wiggle = replace(
        wiggle, t_ns=picture.t_ns, counted=now.edges, raw_counted=now.bounce.transitions, is_lost=is_lost(now),
        edges=wiggle.edges + new, raw_edges=wiggle.raw_edges + raw,
        chatters=max(wiggle.chatters, chatters(now) - wiggle.chatters_before), losses=wiggle.losses + is_new_loss,
        last_edge_ns=at if raw or (new and is_known(now)) else wiggle.last_edge_ns,
        last_loss_ns=lost_ns(now, picture) if is_new_loss else wiggle.last_loss_ns,
    )  # fmt: skip
    return wiggle, happened


def _begun(wiggle: Wiggle, now: SignalNow, picture: Snapshot) -> Wiggle:
    """The same counts, from this picture of a run on."""
    return replace(
        wiggle, run_ns=picture.start_ns, t_ns=picture.t_ns, counted=now.edges, raw_counted=now.bounce.transitions,
        chatters_before=now.bounce.chatters - wiggle.chatters, is_lost=is_lost(now),
    )  # fmt: skip


def wiggle_text(wiggle: Wiggle) -> str:
    """What the line itself did, where that is more than its edges."""
    parts = [counted(wiggle.raw_edges, "raw edge")] if wiggle.raw_edges > wiggle.edges else []
    return ", ".join([*parts, *([f"chattered {times(wiggle.chatters)}"] if wiggle.chatters else [])])


def wiggle_result(wiggle: Wiggle) -> WalkResult | None:
    """What a test found; None before its first picture."""
    if wiggle.start_ns is None:
        return None
    return WalkResult(
        wiggle.signal, "", WalkOutcome.WIGGLED, wiggle.edges, None, wiggle.losses, wiggle.t_ns,
        wiggle.t_ns - wiggle.start_ns, wiggle_text(wiggle),
    )  # fmt: skip
