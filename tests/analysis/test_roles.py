"""Roles of a bench file: had on the bus, by OBD, by a wire, or not here."""

import pytest

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


@pytest.mark.parametrize(
    ("seen", "way", "tap"),
    [
        ([TapSeen("speed", SPEED.text, Presence.MISSING, absent=True)], Way.ABSENT, SPEED.text),
        ([TapSeen("speed", SPEED_OBD.text, Presence.MISSING, unasked=True)], Way.UNASKED, SPEED_OBD.text),
        (
            [
                TapSeen("speed", SPEED.text, Presence.MISSING, absent=True),
                TapSeen("speed", SPEED_OBD.text, Presence.MISSING, unasked=True),
            ],
            Way.UNASKED, SPEED_OBD.text,
        ),
        (
            [
                TapSeen("speed", SPEED_OBD.text, Presence.MISSING, unasked=True),
                TapSeen("speed", SPEED.text, Presence.MISSING, on_operation=True),
            ],
            Way.UNSEEN, SPEED.text,
        ),
        ([TapSeen("speed", SPEED_OBD.text, Presence.MISSING)], Way.NONE, f"{SPEED.text}, {SPEED_OBD.text}"),
    ],
    ids=["bus not heard", "nobody asked", "either", "not due", "asked, no answer"],
)  # fmt: skip
def test_a_role_of_which_nothing_was_seen(seen: list[TapSeen], way: Way, tap: str) -> None:
    signal = Signal("speed", (SPEED, SPEED_OBD), role="speed")
    assert roles_seen([signal], seen) == (RoleSeen("speed", "speed", way, tap),)
