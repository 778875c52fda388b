"""Faults that can be planted in a drive cycle, one small change each."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from busprobe.van.steps import ns


class Fault(Enum):
    LATE_REAR_WHITE = "late rear white"
    """At the second reverse the rear white lamp takes 420 ms; 300 ms are promised."""
    SIREN_IN_PARK = "siren once audible in park"
    """The siren sounds for 0.9 s while the van stands in Park with the siren switch on."""
    CHATTERING_DOOR = "chattering door switch"
    """On a rough road the switch of the shut rear door chatters for 1.6 s and sounds the door alert."""
    SIGNAL_LOST = "signal lost for 3 s"
    """TransmissionStatus is not heard for 3 s in the middle of the third reverse."""
    NEVER_YIELDS = "rear warning never yields to the brake"
    """The rear warning lamps stay on through every braking; they still yield to a turn signal."""


ALL_FAULTS: tuple[Fault, ...] = tuple(Fault)

LATE_REVERSE = 2
"""Which reverse is late, counted from 0; the first is the lever passing through."""
LATE_NS = ns(0.42)
SIREN_AT_NS, SIREN_LENGTH_NS = ns(505.2), ns(0.9)
CHATTER_AT_NS, CHATTER_LENGTH_NS = ns(375.0), ns(1.6)
ALERT_AFTER_NS = ns(0.45)
"""The alert begins this long after the chatter, and ends just after it."""
LOST_AT_NS, LOST_LENGTH_NS = ns(431.6), ns(3.0)

CHECKS = {
    Fault.LATE_REAR_WHITE: "Rear white lamp follows reverse",
    Fault.SIREN_IN_PARK: "Siren silent in park",
    Fault.CHATTERING_DOOR: "Door alert silent with the doors shut",
    Fault.SIGNAL_LOST: "Rear white lamp dark outside reverse",
    Fault.NEVER_YIELDS: "Rear warning yields to the brake",
}
"""The check of the bench file that each fault touches, and no other."""


@dataclass(frozen=True)
class PlantedFault:
    fault: Fault
    t_ns: int
    """When it begins, as the data show it: ns since the epoch."""
    check_name: str
