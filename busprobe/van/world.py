"""The van's world: every quantity that a message or an input line carries, as a function of time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from busprobe.frames import FloatArray, Int64Array
from busprobe.van import noise
from busprobe.van.script import (
    BATTERY,
    DRIVE,
    END_NS,
    KEY_CRANK,
    KEY_RUN,
    PARK,
    REVERSE,
    SPEED,
    TURN_LEFT,
    TURN_RIGHT,
    knots,
    steps_of_script,
)
from busprobe.van.spec import Wander
from busprobe.van.steps import NEVER, Steps, combine, flashes, ns

LAMP_PERIOD_NS = ns(0.68)
"""Turn signals flash 88 times a minute; FMVSS 108 and UN R48 ask for 60 to 120 (from memory)."""
GEAR_RATIOS = np.array([0.0, 110.0, 62.0, 42.0, 31.0, 25.0, 21.0])
"""Engine revolutions a minute for each km/h in gears 1 to 6."""
START_CLOCK_S = 5 * 3600 + 30 * 60
ODOMETER_KM = 48213.4
NOT_AVAILABLE_CM = 510.0
SAG_V = 2.7
"""How much lower the voltage of a weak battery is: below 11.8 V even while the engine charges it."""


@dataclass(frozen=True)
class World:
    seed: int
    steps: Mapping[str, Steps]

    def value(self, name: str, t_ns: Int64Array) -> FloatArray:
        """The quantity `name` at each time."""
        if name in self.steps:
            return self.steps[name].at(t_ns).astype(np.float64)
        return TRACES[name](self, t_ns)

    def grain(self, topic: str, t_ns: Int64Array, size: float) -> FloatArray:
        """Noise of plus or minus `size`, one number for each time."""
        return noise.uniform(self.seed, topic, len(t_ns), -size, size)


def world_of(seed: int, weak_battery: Steps = NEVER) -> World:
    """The world of a seed; the battery sags while `weak_battery` is on."""
    steps = steps_of_script(seed)
    steps["weak_battery"] = weak_battery
    steps["ignition"] = combine(lambda key: key >= KEY_RUN, steps["key"])
    steps["engine_running"] = steps["engine"]
    steps["run_state"] = _run_state(steps["key"], steps["engine"])
    steps["reversing"] = combine(lambda gear: gear == REVERSE, steps["gear"])
    steps["stop_lamp"] = steps["brake"]
    steps["belt"] = combine(lambda key, door: (key >= KEY_RUN) & (door == 0), steps["key"], steps["driver_door"])
    pulse = ((0, LAMP_PERIOD_NS // 2),)
    for name, side in (("lamp_left", TURN_LEFT), ("lamp_right", TURN_RIGHT)):
        lever = combine(lambda turn, side=side: turn == side, steps["turn"])
        steps[name] = flashes(lever, LAMP_PERIOD_NS, pulse, np.zeros(1), END_NS)
    return World(seed, steps)


def _run_state(key: Steps, engine: Steps) -> Steps:
    """RunState: 0 off, 1 cranking, 2 running."""
    cranking = combine(lambda k: k == KEY_CRANK, key)
    t_ns = np.unique(np.concatenate([cranking.t_ns, engine.t_ns]))
    return Steps(t_ns, np.where(engine.at(t_ns) != 0, 2, cranking.at(t_ns)))


def wander(spec: Wander, t_ns: Int64Array) -> FloatArray:
    """A triangle between `low` and `high`, `low` at the start."""
    share = 1.0 - np.abs((t_ns / (spec.period_s * 1e9)) % 1.0 * 2.0 - 1.0)
    return np.asarray(spec.low + (spec.high - spec.low) * share)


def _line(*rows: tuple[float, float]) -> Callable[[World, Int64Array], FloatArray]:
    times, values = knots(rows)
    return lambda w, t_ns: np.asarray(np.interp(t_ns, times, values), np.float64)


_SPEED = knots(SPEED)
_BATTERY = knots(BATTERY)
_GRID = np.arange(0, END_NS + 1, ns(0.1))
_DISTANCE_KM = np.concatenate([[0.0], np.cumsum(np.interp(_GRID, *_SPEED)[:-1]) * 0.1 / 3600.0])


def true_speed(t_ns: Int64Array) -> FloatArray:
    """Speed over the ground, km/h."""
    return np.asarray(np.interp(t_ns, *_SPEED), np.float64)


def _driven_km(t_ns: Int64Array) -> FloatArray:
    return np.asarray(np.interp(t_ns, _GRID, _DISTANCE_KM), np.float64)


def battery(w: World, t_ns: Int64Array) -> FloatArray:
    """Battery voltage, with the ripple of the alternator and of the loads."""
    sag = SAG_V * w.steps["weak_battery"].at(t_ns)
    return np.asarray(np.interp(t_ns, *_BATTERY) + w.grain("battery", t_ns, 0.015) - sag, np.float64)


def _measured_speed(topic: str, factor: float) -> Callable[[World, Int64Array], FloatArray]:
    def trace(w: World, t_ns: Int64Array) -> FloatArray:
        speed = true_speed(t_ns)
        return np.where(speed > 1.0, speed * factor + w.grain(topic, t_ns, 0.08), 0.0)

    return trace


def _acceleration(t_ns: Int64Array) -> FloatArray:
    """Along the road, m/s2."""
    return (true_speed(t_ns + ns(0.1)) - true_speed(t_ns - ns(0.1))) / 3.6 / 0.2


def _engaged_gear(w: World, t_ns: Int64Array) -> FloatArray:
    gear = w.steps["gear"].at(t_ns)
    forward = np.clip(true_speed(t_ns) // 11.0 + 1.0, 1.0, 6.0)
    return np.where(gear == DRIVE, forward, np.where(gear == REVERSE, -1.0, 0.0))


def _engine_speed(w: World, t_ns: Int64Array) -> FloatArray:
    ratio = GEAR_RATIOS[np.abs(_engaged_gear(w, t_ns)).astype(np.int64)]
    running = np.maximum(true_speed(t_ns) * ratio, 790.0) + w.grain("engine", t_ns, 8.0)
    cranking = 215.0 + w.grain("crank", t_ns, 25.0)
    state = w.steps["run_state"].at(t_ns)
    return np.where(state == 2, running, np.where(state == 1, cranking, 0.0))


def _pull(w: World, t_ns: Int64Array) -> FloatArray:
    """What the driver asks of the engine, per cent."""
    effort = 6.0 + 0.2 * true_speed(t_ns) + 22.0 * _acceleration(t_ns)
    wanted = np.where((true_speed(t_ns) > 0.5) & (w.steps["brake"].at(t_ns) == 0), effort, 0.0)
    return np.clip(wanted, 0.0, 100.0)


def _brake_pressure(w: World, t_ns: Int64Array) -> FloatArray:
    pressed = w.steps["brake"].at(t_ns) != 0
    force = np.clip(-12.0 * _acceleration(t_ns), 8.0, 90.0) + w.grain("pressure", t_ns, 0.6)
    return np.where(pressed, force, 0.0)


def _steering(w: World, t_ns: Int64Array) -> FloatArray:
    sway = wander(Wander(-7.0, 7.0, 6.3), t_ns) + wander(Wander(-60.0, 60.0, 47.0), t_ns) * 0.3
    return np.where(true_speed(t_ns) > 0.5, sway, 1.5)


def _steering_rate(w: World, t_ns: Int64Array) -> FloatArray:
    return (_steering(w, t_ns + ns(0.05)) - _steering(w, t_ns - ns(0.05))) / 0.1


def _yaw_rate(w: World, t_ns: Int64Array) -> FloatArray:
    return _steering(w, t_ns) / 16.0 * true_speed(t_ns) / 3.6 / 3.6 + w.grain("yaw", t_ns, 0.1)


def _current(w: World, t_ns: Int64Array) -> FloatArray:
    """Battery current, A: charging is positive."""
    running = w.steps["engine"].at(t_ns) != 0
    loads = np.where(w.steps["ignition"].at(t_ns) != 0, 24.0, 1.2)
    return np.where(w.steps["run_state"].at(t_ns) == 1, -310.0, np.where(running, 18.0, -loads)) + w.grain(
        "current", t_ns, 0.4
    )


def _distance(topic: str, behind_m: float) -> Callable[[World, Int64Array], FloatArray]:
    def trace(w: World, t_ns: Int64Array) -> FloatArray:
        reading = wander(Wander(behind_m * 60.0, behind_m * 160.0, 19.0), t_ns) + w.grain(topic, t_ns, 2.0)
        return np.where(w.steps["gear"].at(t_ns) == REVERSE, reading, NOT_AVAILABLE_CM)

    return trace


def _spreading(w: World, t_ns: Int64Array) -> FloatArray:
    return np.where(w.steps["gear"].at(t_ns) != PARK, true_speed(t_ns) > 15.0, 0.0)


def _clock(divisor: int, modulus: int) -> Callable[[World, Int64Array], FloatArray]:
    return lambda w, t_ns: ((t_ns // ns(1.0) + START_CLOCK_S) // divisor % modulus).astype(np.float64)


TRACES: Mapping[str, Callable[[World, Int64Array], FloatArray]] = {
    "battery": battery,
    "battery_current": _current,
    "charge_voltage": battery,
    "charge_warning": lambda w, t: 1.0 - w.value("engine", t),
    "alternator_duty": lambda w, t: w.value("engine", t) * wander(Wander(38.0, 61.0, 83.0), t),
    "vehicle_speed": _measured_speed("vehicle", 1.0),
    "wheel_front_left": _measured_speed("front left", 1.002),
    "wheel_front_right": _measured_speed("front right", 0.999),
    "wheel_rear_left": _measured_speed("rear left", 1.001),
    "wheel_rear_right": _measured_speed("rear right", 0.998),
    "blade_height": lambda w, t: 240.0 * (1.0 - w.value("plough", t)),
    "shown_speed": lambda w, t: 1.04 * true_speed(t),
    "shaft_speed": lambda w, t: true_speed(t) * 31.0,
    "engaged_gear": _engaged_gear,
    "engine_speed": _engine_speed,
    "engine_torque": lambda w, t: w.value("engine", t) * (_pull(w, t) * 3.1 + 18.0),
    "torque_demand": lambda w, t: _pull(w, t) * 3.2,
    "throttle": lambda w, t: w.value("engine", t) * (_pull(w, t) * 0.8 + 7.0),
    "accelerator": _pull,
    "brake_pressure": _brake_pressure,
    "steering_angle": _steering,
    "steering_rate": _steering_rate,
    "yaw_rate": _yaw_rate,
    "lateral_acceleration": lambda w, t: _yaw_rate(w, t) * true_speed(t) / 206.0,
    "longitudinal_acceleration": lambda w, t: _acceleration(t) + w.grain("longitudinal", t, 0.03),
    "coolant_temperature": _line((0, 4), (15, 4), (450, 81), (600, 76)),
    "gearbox_temperature": _line((0, 1), (40, 2), (450, 58), (600, 55)),
    "intake_temperature": _line((0, -2), (120, 3), (450, 9), (600, 14)),
    "exhaust_temperature": _line((0, -3), (15, -3), (60, 140), (300, 290), (447, 210), (490, 130), (600, 160)),
    "oil_pressure": lambda w, t: w.value("engine", t) * wander(Wander(180.0, 320.0, 61.0), t),
    "cabin_temperature": _line((0, -1), (15, -1), (400, 20), (600, 19)),
    "odometer": lambda w, t: ODOMETER_KM + _driven_km(t),
    "trip": lambda w, t: _driven_km(t),
    "distance_left": _distance("left", 1.1),
    "distance_middle": _distance("middle", 1.0),
    "distance_right": _distance("right", 1.2),
    "spreader": lambda w, t: w.value("ignition", t) * (1.0 + _spreading(w, t)),
    "spread_rate": lambda w, t: _spreading(w, t) * 20.0,
    "frame_index_mod_4": lambda w, t: np.asarray(np.arange(len(t)) % 4, np.float64),
    "hour": _clock(3600, 24),
    "minute": _clock(60, 60),
    "second": _clock(1, 60),
}  # fmt: skip
"""Quantities that are not steps. Noise is drawn for each message in the order of its frames."""
