"""The drive cycle: ten minutes of a winter patrol van, as a table of what the crew does.

    Cue(232.0, "crew gets in", ("brake", 0.0, 1), ("park_brake", 0.9, 0))
        232.0 s into the cycle: foot brake on, 0.9 s later park brake off

A cue moves by up to `slack_s` with the seed; what belongs to one cue moves together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busprobe.van import noise
from busprobe.van.steps import Steps, ns, steps_of

LENGTH_S = 600.0
END_NS = ns(LENGTH_S)

PARK, REVERSE, NEUTRAL, DRIVE = 0, 1, 2, 3
KEY_OFF, KEY_ACCESSORY, KEY_RUN, KEY_CRANK = 0, 1, 2, 3
TURN_OFF, TURN_LEFT, TURN_RIGHT = 0, 1, 2


@dataclass(frozen=True)
class Cue:
    """Something the crew does, as acts: (signal, seconds after the cue, new value)."""

    at_s: float
    what: str
    acts: tuple[tuple[str, float, int], ...]
    slack_s: float = 0.2


def _cue(at_s: float, what: str, *acts: tuple[str, float, int], slack_s: float = 0.2) -> Cue:
    return Cue(at_s, what, acts, slack_s)


def _press(signal: str, at_s: float, until_s: float, value: int = 1) -> tuple[Cue, Cue]:
    return _cue(at_s, signal, (signal, 0.0, value)), _cue(until_s, signal + " ends", (signal, 0.0, 0))


CUES: tuple[Cue, ...] = (
    _cue(6.0, "driver unlocks, the bus wakes", ("awake", 0.0, 1), ("locked", 0.004, 0), slack_s=0.0),
    *_press("driver_door", 7.4, 9.9),
    _cue(11.6, "key to run", ("key", 0.0, KEY_ACCESSORY), ("key", 0.5, KEY_RUN), slack_s=0.0),
    _cue(14.5, "engine starts", ("key", 0.0, KEY_CRANK), ("key", 1.1, KEY_RUN), ("engine", 1.1, 1), slack_s=0.0),
    _cue(21.8, "anti-lock unit ends its self test", ("abs_ready", 0.0, 1), slack_s=0.0),
    _cue(23.0, "beacons on", ("beacon_switch", 0.0, 1), ("headlamps", 0.7, 1)),
    *_press("side_door", 28.0, 36.0),
    *_press("plough", 62.0, 84.0),
    _cue(39.2, "ready to leave", ("brake", 0.0, 1), ("park_brake", 0.9, 0)),
    # The lever passes Reverse in 0.14 s: shorter than the lamp's filter, see controller.py.
    _cue(41.0, "Park to Drive", ("gear", 0.0, REVERSE), ("gear", 0.14, NEUTRAL), ("gear", 0.36, DRIVE)),
    _cue(43.0, "away", ("brake", 0.0, 0)),
    *_press("turn", 56.0, 61.0, TURN_LEFT),
    *_press("brake", 66.0, 69.6),
    *_press("siren_switch", 74.0, 79.0),
    _cue(83.0, "rear warning on", ("warning_switch", 0.0, 1)),
    *_press("brake", 90.0, 93.4),
    *_press("turn", 101.0, 106.0, TURN_RIGHT),
    *_press("brake", 111.0, 113.8),
    *_press("turn", 120.5, 125.0, TURN_LEFT),
    _cue(127.2, "siren, left on into Park", ("siren_switch", 0.0, 1)),
    *_press("brake", 130.0, 142.0),
    _cue(139.0, "Drive to Reverse (first)", ("gear", 0.0, NEUTRAL), ("gear", 0.35, REVERSE)),
    *_press("brake", 148.6, 154.5),
    _cue(152.0, "Park", ("gear", 0.0, PARK), ("park_brake", 0.9, 1)),
    _cue(158.4, "siren switch off", ("siren_switch", 0.0, 0)),
    *_press("side_door", 162.0, 176.0),
    *_press("rear_door", 181.0, 194.0),
    *_press("side_door", 204.0, 212.0),
    *_press("wipers", 215.0, 300.0),
    _cue(226.0, "side door left open", ("side_door", 0.0, 1)),
    _cue(232.0, "ready to leave", ("brake", 0.0, 1), ("park_brake", 0.9, 0)),
    _cue(235.0, "Park to Reverse (second)", ("gear", 0.0, REVERSE)),
    *_press("brake", 242.8, 247.3),
    _cue(236.6, "away backwards", ("brake", 0.0, 0)),
    _cue(245.8, "Reverse to Drive", ("gear", 0.0, NEUTRAL), ("gear", 0.4, DRIVE)),
    *_press("brake", 257.8, 267.2),
    _cue(264.0, "side door shut at last", ("side_door", 0.0, 0)),
    *_press("rear_door", 284.0, 290.5),
    *_press("plough", 270.0, 283.0),
    *_press("brake", 296.0, 299.4),
    *_press("siren_switch", 303.0, 309.0),
    *_press("turn", 313.0, 318.0, TURN_RIGHT),
    *_press("brake", 325.0, 328.8),
    *_press("siren_switch", 344.0, 348.5),
    *_press("turn", 352.0, 357.5, TURN_LEFT),
    *_press("brake", 362.0, 364.8),
    *_press("brake", 390.0, 393.2),
    *_press("turn", 404.0, 409.0, TURN_RIGHT),
    *_press("brake", 418.0, 429.5),
    _cue(427.0, "Drive to Reverse (third)", ("gear", 0.0, NEUTRAL), ("gear", 0.35, REVERSE)),
    *_press("brake", 438.2, 443.4),
    _cue(441.6, "Park", ("gear", 0.0, PARK), ("park_brake", 0.9, 1)),
    _cue(446.0, "rear warning off", ("warning_switch", 0.0, 0)),
    _cue(447.0, "engine off, key left on", ("engine", 0.0, 0), slack_s=0.0),
    *_press("side_door", 452.0, 469.0),
    _cue(490.0, "engine starts again", ("key", 0.0, KEY_CRANK), ("key", 1.0, KEY_RUN), ("engine", 1.0, 1), slack_s=0.0),
    *_press("siren_switch", 503.0, 508.5),
    *_press("rear_door", 512.0, 520.0),
    _cue(527.0, "beacons off", ("beacon_switch", 0.0, 0), ("headlamps", 1.1, 0)),
    _cue(540.0, "key off", ("engine", 0.0, 0), ("key", 0.0, KEY_ACCESSORY), ("key", 0.4, KEY_OFF), slack_s=0.0),
    *_press("driver_door", 543.5, 546.8),
    _cue(549.0, "locked", ("locked", 0.0, 1)),
    _cue(556.0, "the bus falls asleep", ("awake", 0.0, 0), slack_s=0.0),
)

FIRST_VALUES = {"locked": 1, "park_brake": 1, "gear": PARK}
"""Where a signal does not begin with 0."""

SPEED: tuple[tuple[float, float], ...] = (
    # (seconds, km/h), straight lines between
    (0, 0), (43.4, 0), (53, 38), (60, 46), (66.2, 46), (69.5, 24), (78, 42), (90.2, 42), (93.3, 22),
    (100, 36), (111.2, 36), (113.7, 20), (120, 30), (130.2, 30), (136, 0), (142.4, 0), (144, 5.5),
    (148.8, 6), (150.5, 0), (237, 0), (238.5, 5), (243, 5.4), (244.4, 0), (247.7, 0), (252, 15),
    (258, 20), (261.6, 0), (267.6, 0), (280, 50), (296.2, 50), (299.3, 34), (310, 48), (325.2, 48),
    (328.7, 25), (340, 44), (362.2, 44), (364.7, 30), (372, 48), (390.2, 48), (393.1, 35), (400, 46),
    (418.2, 46), (425.4, 0), (429.9, 0), (431.2, 5.5), (438.4, 6), (440.2, 0), (LENGTH_S, 0),
)  # fmt: skip

BATTERY: tuple[tuple[float, float], ...] = (
    # (seconds, volts): rest, key on, crank, charging, engine off under load, crank, charging, rest
    (0, 12.62), (6, 12.62), (6.3, 12.54), (12.1, 12.52), (12.4, 12.34), (14.49, 12.32), (14.5, 9.72),
    (14.8, 10.4), (15.6, 10.9), (15.8, 12.9), (17.6, 14.1), (60, 14.2), (447, 14.12), (447.6, 12.9),
    (455, 12.34), (455.3, 11.62), (460.8, 11.6), (461.1, 12.2), (465.9, 12.14), (466.2, 11.62),
    (489.99, 11.54), (490, 9.64), (490.3, 10.3), (491, 10.8), (491.2, 12.9), (493, 14.1), (540, 14.16),
    (540.5, 13.0), (556, 12.66), (LENGTH_S, 12.6),
)  # fmt: skip


def steps_of_script(seed: int) -> dict[str, Steps]:
    """Every scripted signal by name."""
    moves = noise.uniform(seed, "script", len(CUES), -1.0, 1.0)
    points: dict[str, list[tuple[int, int]]] = {}
    for cue, move in zip(CUES, moves.tolist(), strict=True):
        for signal, after_s, value in cue.acts:
            at_s = cue.at_s + after_s + move * cue.slack_s
            points.setdefault(signal, []).append((ns(at_s), value))
    return {name: steps_of(rows, FIRST_VALUES.get(name, 0)) for name, rows in points.items()}


def knots(table: tuple[tuple[float, float], ...]) -> tuple[np.ndarray, np.ndarray]:
    """A table of straight lines as (times in ns, values) for `numpy.interp`."""
    rows = np.array(table, np.float64)
    return rows[:, 0] * 1e9, rows[:, 1]
