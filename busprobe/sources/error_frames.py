"""What error frames say of the controller, where the adapter reports them as Linux does.

    identifier 0x040                     bus-off
    identifier 0x004, byte 1 = 0x10      controller trouble: error passive while receiving

Bits from Linux include/uapi/linux/can/error.h (CAN_ERR_*).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import can

INTERFACES = ("socketcan", "socketcand", "udp_multicast", "virtual")
"""Whose error frames have these bits; the last two carry what others send."""

CONTROLLER = 0x004
BUS_OFF = 0x040
RESTARTED = 0x100
RX_OVERFLOW = 0x01
PASSIVE_BITS = 0x10 | 0x20
ACTIVE_AGAIN = 0x40
"""Bits of byte 1 with CONTROLLER."""


class BusState(StrEnum):
    """State of a CAN controller (ISO 11898-1)."""

    ACTIVE = "active"
    PASSIVE = "passive"
    OFF = "off"


@dataclass
class Controller:
    """What is known of an adapter's controller."""

    state: BusState | None = None
    """None: nothing was told yet."""
    overflows: int = 0
    """How often it had no room for a frame; each time one or more were lost."""

    def take(self, errors: Iterable[can.Message]) -> None:
        """Error frames in their order."""
        for frame in errors:
            told = frame.arbitration_id
            byte_1 = frame.data[1] if told & CONTROLLER and len(frame.data) > 1 else 0
            self.overflows += bool(byte_1 & RX_OVERFLOW)
            if told & BUS_OFF:
                self.state = BusState.OFF
            elif told & RESTARTED or byte_1 & ACTIVE_AGAIN:
                self.state = BusState.ACTIVE
            elif byte_1 & PASSIVE_BITS:
                self.state = BusState.PASSIVE
