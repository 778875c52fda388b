"""The van's control units as they answer the requests of others, with values of its world."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from busprobe.frames import FloatArray, Int64Array
from busprobe.van.control_units import ControlUnit, ControlUnits, PidData
from busprobe.van.diagnostics import ENGINE, GEARBOX, VIN
from busprobe.van.world import World

WorldAt = Callable[[int], tuple[World, int]]
"""The world at a drive time, and the place in its cycle."""
Raw = Callable[[World, Int64Array], FloatArray]


def van_units(world_at: WorldAt) -> ControlUnits:
    """Engine and gearbox control; all times given to them are drive times."""
    pids: dict[int, PidData] = {pid: _data(world_at, length, raw) for pid, (length, raw) in PIDS.items()}
    engine = ControlUnit(ENGINE, pids, vin=VIN, name="ECM-EngineControl")
    return ControlUnits([engine, ControlUnit(GEARBOX, name="TCM-GearboxControl")])


def _data(world_at: WorldAt, length: int, raw: Raw) -> Callable[[int], bytes]:
    def data(t_ns: int) -> bytes:
        world, place_ns = world_at(t_ns)
        value = float(raw(world, np.array([place_ns]))[0])
        return min(max(int(value), 0), (1 << 8 * length) - 1).to_bytes(length, "big")

    return data


def _quantity(name: str, scale: float = 1.0, offset: float = 0.0) -> Raw:
    return lambda world, t_ns: world.value(name, t_ns) * scale + offset


def _constant(value: float) -> Raw:
    return lambda world, t_ns: np.full(len(t_ns), value)


def _since_start(world: World, t_ns: Int64Array) -> FloatArray:
    """Seconds that the engine has been running, 0 while it stands."""
    engine = world.steps["engine"]
    started = engine.t_ns[np.searchsorted(engine.t_ns, t_ns, side="right") - 1]
    return engine.at(t_ns) * (t_ns - started) / 1e9


PIDS: Mapping[int, tuple[int, Raw]] = {
    0x04: (1, _quantity("throttle", 2.55)),
    0x05: (1, _quantity("coolant_temperature", offset=40)),
    0x0B: (1, _quantity("throttle", 0.65, 30)),
    0x0C: (2, _quantity("engine_speed", 4)),
    0x0D: (1, _quantity("vehicle_speed")),
    0x0F: (1, _quantity("intake_temperature", offset=40)),
    0x10: (2, _quantity("engine_speed", 0.45)),
    0x11: (1, _quantity("throttle", 2.55)),
    0x1F: (2, _since_start),
    0x21: (2, _constant(0)),
    0x2F: (1, _constant(63 * 2.55)),
    0x31: (2, _quantity("trip")),
    0x33: (1, _constant(99)),
    0x42: (2, _quantity("battery", 1000)),
    0x46: (1, _constant(-4 + 40)),
}
"""PID -> bytes and raw value; scales of SAE J1979 (from memory)."""
