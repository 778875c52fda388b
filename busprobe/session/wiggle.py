"""The wiggle test: one signal watched for edges and losses while somebody moves its wires."""

from __future__ import annotations

from dataclasses import dataclass, replace

from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.snapshot import Snapshot
from busprobe.session.walk_seen import Happening, is_quantity
from busprobe.timeline import TRUE


@dataclass(frozen=True)
class Wiggle:
    """What was seen of one signal since the test began."""

    signal: str
    run_ns: int | None = None
    """Start of the run that it is of."""
    start_ns: int | None = None
    """None until the first picture."""
    t_ns: int = 0
    counted: int = 0
    """Edges of the signal at the last picture."""
    is_known: bool = False
    edges: int = 0
    losses: int = 0
    last_edge_ns: int | None = None
    last_loss_ns: int | None = None


def watch_wiggle(wiggle: Wiggle, picture: Snapshot) -> tuple[Wiggle, tuple[Happening, ...]]:
    """Take in a picture; a step back in time, or another run, begins anew."""
    now = picture.signal(wiggle.signal)
    if now is None:
        return wiggle, ()
    known = now.code <= TRUE
    is_other = picture.start_ns != wiggle.run_ns
    if wiggle.start_ns is None or is_other or picture.t_ns < wiggle.t_ns or now.edges < wiggle.counted:
        return Wiggle(wiggle.signal, picture.start_ns, picture.t_ns, picture.t_ns, now.edges, known), ()
    new, is_lost = now.edges - wiggle.counted, wiggle.is_known and not known
    happened = (*((Happening.EDGE,) if new and not is_quantity(now) else ()), *((Happening.LOSS,) if is_lost else ()))
    at = picture.t_ns if now.since_ns is None else now.since_ns
    wiggle = replace(
        wiggle, t_ns=picture.t_ns, counted=now.edges, is_known=known, edges=wiggle.edges + new,
        losses=wiggle.losses + is_lost, last_edge_ns=at if new and known else wiggle.last_edge_ns,
        last_loss_ns=at if is_lost else wiggle.last_loss_ns,
    )  # fmt: skip
    return wiggle, happened


def wiggle_result(wiggle: Wiggle) -> WalkResult | None:
    """What a test found; None before its first picture."""
    if wiggle.start_ns is None:
        return None
    return WalkResult(
        wiggle.signal, "", WalkOutcome.WIGGLED, wiggle.edges, None, wiggle.losses, wiggle.t_ns,
        wiggle.t_ns - wiggle.start_ns, "",
    )  # fmt: skip
