"""The installed controller: it watches bus and switches and drives lamps, siren, alert and feed.

It knows the vehicle only from received frames and from its wires, each as it saw them. Every
output has its own delays, drawn from the seed; the promised limits are in the bench file.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from busprobe.frames import FloatArray, Int64Array
from busprobe.van import noise
from busprobe.van.faults import (
    ALERT_AFTER_NS,
    CHATTER_AT_NS,
    CHATTER_LENGTH_NS,
    LATE_NS,
    LATE_REVERSE,
    SIREN_AT_NS,
    SIREN_LENGTH_NS,
    Fault,
)
from busprobe.van.script import END_NS, PARK, REVERSE
from busprobe.van.steps import Steps, combine, delayed, flashes, ns, simplified, steps_of
from busprobe.van.traffic import Traffic
from busprobe.van.world import World, battery

MOVING_ABOVE, MOVING_BELOW_AGAIN = 8.0, 5.0
SHED_BELOW_V, SHED_AFTER_NS = 11.8, ns(10.2)
BACK_ABOVE_V, BACK_AFTER_NS = 12.8, ns(3.0)
RUN_ON_NS = ns(20.0)
"""How long the auxiliary feed stays on after key-off; minutes on a real van."""
BEACON_PULSES = ((0, ns(0.25)),)
FRONT_PULSES = ((0, ns(0.07)), (ns(0.13), ns(0.20)))
"""The front lamps flash twice in quick succession."""


@dataclass(frozen=True)
class Delays:
    """Least and most seconds of a filter, for switching on and for switching off."""

    on: tuple[float, float]
    off: tuple[float, float]


DELAYS: Mapping[str, Delays] = {
    "beacons": Delays((0.03, 0.09), (0.03, 0.09)),
    "front_white": Delays((0.05, 0.15), (0.04, 0.12)),
    # Longer than the lever takes to pass Reverse, so that the lamp does not blink on the way.
    "rear_white": Delays((0.165, 0.24), (0.04, 0.12)),
    "strip": Delays((0.05, 0.15), (0.05, 0.15)),
    "siren": Delays((0.06, 0.18), (0.04, 0.12)),
    "door_alert": Delays((0.08, 0.25), (0.08, 0.25)),
    "rear_warning": Delays((0.30, 0.50), (0.04, 0.12)),
    "aux_feed": Delays((0.15, 0.40), (0.01, 0.05)),
}


@dataclass(frozen=True)
class Seen:
    """What the controller knows, each as it learnt it."""

    steps: Mapping[str, Steps]
    """Its own wires: doors, panel switches, ignition."""
    gear: Steps
    moving: Steps
    brake: Steps
    turn: Steps


def seen(world: World, heard: Traffic, ready: Traffic) -> Seen:
    """The vehicle's state from received frames: the content is older than the stamp.

    heard, ready: the same frames in the same order, stamped when received and when made.
    """

    def signal(message: str, name: str) -> Steps:
        made = world.value(name, ready.stamps(message))
        return simplified(heard.stamps(message), made.astype(np.int64))

    speed = world.value("vehicle_speed", ready.stamps("WheelSpeed"))
    return Seen(
        world.steps,
        signal("TransmissionStatus", "gear"),
        hysteresis(heard.stamps("WheelSpeed"), speed, MOVING_ABOVE, MOVING_BELOW_AGAIN),
        signal("BrakeStatus", "brake"),
        signal("TurnSignals", "turn"),
    )


def hysteresis(t_ns: Int64Array, values: FloatArray, above: float, below: float) -> Steps:
    """On above `above`, off again below `below`, off at first."""
    told = (values > above) | (values < below)
    return simplified(np.append(np.int64(0), t_ns[told]), np.append(0, values[told] > above).astype(np.int64))


def _filtered(world: World, output: str, condition: Steps, on_ns: FloatArray | None = None) -> Steps:
    """`condition` behind the output's filter; `on_ns` replaces the drawn delays."""
    on, off = _drawn(world, output, condition)
    return delayed(condition, on if on_ns is None else on_ns, off)


def _drawn(world: World, output: str, condition: Steps) -> tuple[FloatArray, FloatArray]:
    """Delays for each change of the condition, should it be a rise or a fall, ns."""
    changes = condition.t_ns[1:]
    on, off = DELAYS[output].on, DELAYS[output].off
    return (
        noise.at_times(world.seed, output + " on", changes, *on) * 1e9,
        noise.at_times(world.seed, output + " off", changes, *off) * 1e9,
    )


def outputs(world: World, view: Seen, faults: Collection[Fault]) -> dict[str, Steps]:
    """Every output of the controller, by name."""
    return {
        **_beacons(world, view),
        "rear_white": _rear_white(world, view, Fault.LATE_REAR_WHITE in faults),
        "strip": _filtered(world, "strip", view.steps["side_door"]),
        "siren": _siren(world, view, Fault.SIREN_IN_PARK in faults),
        "door_alert": _door_alert(world, view, Fault.CHATTERING_DOOR in faults),
        "rear_warning": _rear_warning(world, view, Fault.NEVER_YIELDS in faults),
        "aux_feed": _aux_feed(world, view),
    }


def _beacons(world: World, view: Seen) -> dict[str, Steps]:
    """Left and right flash in step; the front lamps flash too, but not in Park."""
    switch = view.steps["beacon_switch"]
    period, front_period = (ns(noise.single(world.seed, t, 0.61, 0.68)) for t in ("beacon period", "front period"))
    jitter = noise.uniform(world.seed, "beacon jitter", 997, 0.0, ns(0.002))
    skew = jitter + noise.uniform(world.seed, "beacon skew", 997, 0.0, ns(0.004))
    on = _filtered(world, "beacons", switch)
    away = combine(lambda lit, gear: (lit != 0) & (gear != PARK), switch, view.gear)
    return {
        "beacon_left": flashes(on, period, BEACON_PULSES, jitter, END_NS),
        "beacon_right": flashes(on, period, BEACON_PULSES, skew, END_NS),
        "front_white": flashes(_filtered(world, "front_white", away), front_period, FRONT_PULSES, jitter, END_NS),
    }


def _rear_white(world: World, view: Seen, late: bool) -> Steps:
    reverse = combine(lambda gear: gear == REVERSE, view.gear)
    on, _ = _drawn(world, "rear_white", reverse)
    if late:
        on[np.flatnonzero(reverse.values[1:])[LATE_REVERSE]] = LATE_NS
    return _filtered(world, "rear_white", reverse, on)


def _siren(world: World, view: Seen, in_park: bool) -> Steps:
    wanted = combine(
        lambda switch, moving, gear: (switch != 0) & (moving != 0) & (gear != PARK),
        view.steps["siren_switch"],
        view.moving,
        view.gear,
    )
    siren = _filtered(world, "siren", wanted)
    return _with_stretch(siren, SIREN_AT_NS, SIREN_AT_NS + SIREN_LENGTH_NS) if in_park else siren


def _door_alert(world: World, view: Seen, fooled: bool) -> Steps:
    wanted = combine(
        lambda side, rear, moving: ((side != 0) | (rear != 0)) & (moving != 0),
        view.steps["side_door"],
        view.steps["rear_door"],
        view.moving,
    )
    alert = _filtered(world, "door_alert", wanted)
    end_ns = CHATTER_AT_NS + CHATTER_LENGTH_NS + ns(0.09)
    return _with_stretch(alert, CHATTER_AT_NS + ALERT_AFTER_NS, end_ns) if fooled else alert


def _rear_warning(world: World, view: Seen, never_yields: bool) -> Steps:
    wanted = combine(
        lambda switch, brake, turn: (switch != 0) & ((brake == 0) | never_yields) & (turn == 0),
        view.steps["warning_switch"],
        view.brake,
        view.turn,
    )
    return _filtered(world, "rear_warning", wanted)


def _with_stretch(condition: Steps, from_ns: int, to_ns: int) -> Steps:
    extra = steps_of([(from_ns, 1), (to_ns, 0)])
    return combine(lambda a, b: (a != 0) | (b != 0), condition, extra)


def _aux_feed(world: World, view: Seen) -> Steps:
    """On with the key, off some time after it, shed while the battery is low."""
    run_on_ns = noise.single(world.seed, "run-on", RUN_ON_NS, RUN_ON_NS + ns(0.8))
    wanted = delayed(view.steps["ignition"], ns(0.1), run_on_ns)
    t_ns = np.arange(0, END_NS, ns(0.1))
    volts = battery(world, t_ns)
    low = simplified(t_ns, (volts < SHED_BELOW_V).astype(np.int64))
    high = simplified(t_ns, (volts > BACK_ABOVE_V).astype(np.int64))
    shed_at = delayed(low, SHED_AFTER_NS, 0).rises()
    back_at = delayed(high, BACK_AFTER_NS, 0).rises()
    shed = steps_of([*((int(t), 1) for t in shed_at), *((int(t), 0) for t in back_at)])
    return _filtered(world, "aux_feed", combine(lambda want, off: (want != 0) & (off == 0), wanted, shed))
