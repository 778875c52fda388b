"""Whether a bus carries J1939 traffic, told by its 29-bit identifiers (SAE J1939-21, from memory).

    bit   28..26     25    24    23..16   15..8     7..0
          priority   EDP   DP    PF       PS        source address

    0CF00400   priority 3, PF F0, PS 04, source 00     EEC1, a broadcast: PF is F0 to FF
    18EAFF00   priority 6, PF EA, to all               a request
    18DB33F1   priority 6, PF DB                       a diagnostic request of ISO 15765: not J1939

J1939 sets EDP to 0 and uses priority 3 for control, 6 for nearly all else, 7 for long messages.
One such frame is enough: where in doubt, nothing is asked on the bus.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np

from busprobe.frames import ERROR, EXTENDED, REMOTE, BoolArray, FrameBatch, UInt32Array

PRIORITIES: Final = (3, 6, 7)
FIRST_BROADCAST: Final = 0xF0
"""From this PF on a message goes to all, and PS is part of its number."""
DIRECTED: Final = MappingProxyType(
    {
        0xE8: "acknowledgement",
        0xEA: "request",
        0xEB: "transport, data",
        0xEC: "transport, management",
        0xEE: "address claimed",
        0xEF: "proprietary A",
    }
)
"""PF of messages to one address that every J1939 network uses. DA and DB are those of ISO 15765."""
BROADCAST: Final = MappingProxyType(
    {
        0xF003: "EEC2",
        0xF004: "EEC1",
        0xF005: "ETC2",
        0xFECA: "DM1",
        0xFEEE: "ET1",
        0xFEF1: "CCVS1",
    }
)
"""Some broadcasts by name; all others show as numbers."""
_TORQUE_CONTROL: Final = 0x0C000000
"""TSC1 and others of PF 00, sent with priority 3: known by their upper 13 bits only."""


def is_j1939(identifier: UInt32Array) -> BoolArray:
    """(n,) whether each 29-bit identifier is one that J1939 networks use."""
    priority, pf = identifier >> np.uint32(26), identifier >> np.uint32(16) & np.uint32(0xFF)
    message = (pf >= FIRST_BROADCAST) | np.isin(pf, list(DIRECTED))
    usual = ((identifier >> np.uint32(25) & np.uint32(1)) == 0) & np.isin(priority, PRIORITIES)
    found: BoolArray = (message & usual) | ((identifier & np.uint32(0x1FFF0000)) == _TORQUE_CONTROL)
    return found


def j1939_text(identifier: int) -> str:
    """An identifier with the name of its message, as far as known: `0CF00400, EEC1`."""
    pf = identifier >> 16 & 0xFF
    if pf >= FIRST_BROADCAST:
        name = BROADCAST.get(identifier >> 8 & 0x1FFFF, "a broadcast")
    else:
        name = DIRECTED.get(pf, "torque control")
    return f"{identifier:08X}, {name}"


class J1939Watch:
    """Remembers whether a bus has ever carried J1939 traffic."""

    def __init__(self) -> None:
        self.seen: int | None = None
        """Identifier of the first such frame."""

    def feed(self, batch: FrameBatch) -> None:
        if self.seen is not None:
            return
        extended = batch.identifier[(batch.flags & (EXTENDED | ERROR | REMOTE)) == EXTENDED]
        if len(extended):
            found = extended[is_j1939(extended)]
            if len(found):
                self.seen = int(found[0])
