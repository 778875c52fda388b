"""Roles of a bench file: had on the bus, by OBD, by a wire, or not here."""

from busprobe.analysis.presence import Presence, TapSeen
from busprobe.analysis.roles import RoleSeen, Way, roles_seen
from busprobe.bench.model import Signal, Tap

GEAR = Tap("message", "body", "Transmission", "Gear")
SPEED = Tap("message", "body", "Wheels", "Speed")
SPEED_OBD = Tap("obd", "obd", "0D", "")
DOOR = Tap("line", "box", "rear_door", "")


def test_each_role_by_the_first_place_that_has_it() -> None:
    signals = [
        Signal("gear", (GEAR,), role="gear"),
        Signal("speed", (SPEED, SPEED_OBD), role="speed"),
        Signal("rear_door", (DOOR,), role="door"),
        Signal("lamp", (DOOR,)),
    ]
    seen = [
        TapSeen("gear", GEAR.text, Presence.MISSING),
        TapSeen("speed", SPEED.text, Presence.MISSING),
        TapSeen("speed", SPEED_OBD.text, Presence.STALE),
        TapSeen("rear_door", DOOR.text, Presence.PRESENT),
    ]
    assert roles_seen(signals, seen) == (
        RoleSeen("gear", "gear", Way.NONE, "body.Transmission.Gear"),
        RoleSeen("speed", "speed", Way.OBD, "obd.0D"),
        RoleSeen("door", "rear_door", Way.WIRE, "box.rear_door"),
    )
