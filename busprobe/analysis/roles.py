"""Which roles of a bench file can be had at this connector, and which need a wire."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from busprobe.analysis.presence import Presence, TapSeen
from busprobe.bench.model import Signal


class Way(Enum):
    """How a role can be had."""

    BUS = "on the bus"
    OBD = "by OBD answers"
    WIRE = "by a wire"
    UNSEEN = "not seen: operate it, else needs a wire"
    """A database has its message, which is sent only when something happens, and nothing happened."""
    UNASKED = "not asked for: OBD requests may have it, else needs a wire"
    """Nobody asked for its PID, so nobody answered."""
    ABSENT = "its bus or box gave nothing"
    """Nothing can be said of it before that is heard."""
    NONE = "needs a wire"
    """No place that the bench file names has it: a wire, or another tap of the bus."""


_WAYS = {"message": Way.BUS, "obd": Way.OBD, "line": Way.WIRE}
_MAY: Mapping[Way, Callable[[TapSeen], bool]] = {
    Way.UNSEEN: lambda tap: tap.on_operation,
    Way.UNASKED: lambda tap: tap.unasked,
    Way.ABSENT: lambda tap: tap.absent,
}
"""How a role may be had of which nothing was seen, the likeliest first."""


@dataclass(frozen=True)
class RoleSeen:
    role: str
    signal: str
    way: Way
    tap: str
    """The place that has it; of UNSEEN, UNASKED and ABSENT one that may, of NONE the places that do not."""
    changed: bool | None = None
    """Whether it was seen to change, which alone shows that it is this role; None where that cannot be told."""


def roles_seen(signals: Sequence[Signal], seen: Sequence[TapSeen]) -> tuple[RoleSeen, ...]:
    """One entry for each signal with a role, in the order of the bench file.

    The first place listed that was seen counts, as in the bench file itself.
    """
    by_signal: Mapping[str, list[TapSeen]] = {s.name: [t for t in seen if t.signal == s.name] for s in signals}
    found = []
    for signal in signals:
        if signal.role is None:
            continue
        kinds = {tap.text: tap.kind for tap in signal.taps}
        mine = by_signal[signal.name]
        here = next((t for t in mine if t.presence is not Presence.MISSING), None)
        may_be = ((t, way) for way, may in _MAY.items() for t in mine if may(t))
        waiting, way = next(may_be, (None, Way.NONE))
        if here is not None:
            found.append(RoleSeen(signal.role, signal.name, _WAYS[kinds[here.tap]], here.tap, here.changed))
        elif waiting is not None:
            found.append(RoleSeen(signal.role, signal.name, way, waiting.tap))
        else:
            taps = ", ".join(tap.text for tap in signal.taps)
            found.append(RoleSeen(signal.role, signal.name, way, taps))
    return tuple(found)
