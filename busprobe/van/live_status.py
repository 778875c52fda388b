"""What the live van says of itself: where it can be heard, its keys, and one status line."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from busprobe.bench.model import Bus
from busprobe.report.live_text import clock_text
from busprobe.van.live_faults import KEYS
from busprobe.van.schedule import Schedule

GEARS = "PRND"
DOORS = ("driver_door", "side_door", "rear_door")
QUIT = "q"


def heading_lines(bus: Bus, port: str) -> Iterator[str]:
    """Where the van's frames and lines go; `port` is empty where there is no input box."""
    options = "".join(f", {key} {value}" for key, value in bus.options.items())
    yield f'Simulated van on the bus "{bus.name}": {bus.interface} {bus.channel or ""}{options}'
    if bus.interface == "virtual":
        yield "No other program can hear a virtual bus."
    yield f"Input box on {port}" if port else "No input box"


def key_lines() -> Iterator[str]:
    """What each key does."""
    yield "A key sets a fault, and takes it back:"
    for key, fault in KEYS.items():
        yield f"  {key}  {fault.name}"
    yield f"  {QUIT}  end"


def no_key_text(key: str) -> str:
    """The answer to a key that does nothing."""
    return f'The key "{key}" does nothing here: {" ".join(KEYS)} set a fault and take it back, {QUIT} ends.'


def status_line(schedule: Schedule, t_ns: int, run_ns: int) -> str:
    """Time since the start, speed and state at a drive time."""
    speed = _value(schedule, "vehicle_speed", t_ns)
    return f"{clock_text(run_ns / 1e9)}  {speed:3.0f} km/h  {state_text(schedule, t_ns)}"


def state_text(schedule: Schedule, t_ns: int) -> str:
    """Gear, doors, bus, faults: what changes now and then."""
    opened = [door.replace("_", " ") for door in DOORS if _value(schedule, door, t_ns)]
    parts = [
        f"gear {GEARS[int(_value(schedule, 'gear', t_ns))]}",
        f"{' and '.join(opened)} open" if opened else "doors shut",
        "bus awake" if _value(schedule, "awake", t_ns) else "bus asleep",
        f"faults: {', '.join(fault.name for fault in schedule.active(t_ns)) or 'none'}",
    ]
    return "  ".join(parts)


def _value(schedule: Schedule, name: str, t_ns: int) -> float:
    world, place_ns = schedule.world_at(t_ns)
    return float(world.value(name, np.array([place_ns]))[0])
