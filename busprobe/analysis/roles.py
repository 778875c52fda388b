"""Which roles of a bench file can be had at this connector, and which need a wire."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from busprobe.analysis.presence import Presence, TapSeen
from busprobe.bench.model import Signal


class Way(Enum):
    """How a role can be had."""

    BUS = "on the bus"
    OBD = "by OBD answers"
    WIRE = "by a wire"
    NONE = "needs a wire"
    """No place that the bench file names has it: a wire, or another tap of the bus."""


_WAYS = {"message": Way.BUS, "obd": Way.OBD, "line": Way.WIRE}


@dataclass(frozen=True)
class RoleSeen:
    role: str
    signal: str
    way: Way
    tap: str
    """The place that has it; of NONE the places that do not."""


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
        here = next((t for t in by_signal[signal.name] if t.presence is not Presence.MISSING), None)
        if here is None:
            taps = ", ".join(tap.text for tap in signal.taps)
            found.append(RoleSeen(signal.role, signal.name, Way.NONE, taps))
        else:
            found.append(RoleSeen(signal.role, signal.name, _WAYS[kinds[here.tap]], here.tap))
    return tuple(found)
