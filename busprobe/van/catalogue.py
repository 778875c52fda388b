"""All messages of the van's one bus, and when each of them is ready to be sent."""

from __future__ import annotations

import numpy as np

from busprobe.frames import Int64Array
from busprobe.van import noise
from busprobe.van.bodywork import BODYWORK
from busprobe.van.drivetrain import DRIVETRAIN
from busprobe.van.script import END_NS
from busprobe.van.spec import MessageSpec
from busprobe.van.steps import ns
from busprobe.van.world import World

MESSAGES: tuple[MessageSpec, ...] = tuple(sorted(DRIVETRAIN + BODYWORK, key=lambda m: m.identifier))
BUS = "body"
BITRATE = 500_000

WAKE_NS = ns(6.0)
SLEEP_NS = ns(556.0)
SENDERS: dict[str, tuple[str, float]] = {
    # control unit: (what it is for, seconds at which it begins to send)
    "ECM": ("Engine control", 12.15),
    "TCM": ("Transmission control", 12.25),
    "ABS": ("Brakes and stability; self test until the engine has run for six seconds", 21.8),
    "BCM": ("Body control", 6.0),
    "IC": ("Instrument cluster", 6.2),
    "CCM": ("Climate control", 12.3),
    "TPM": ("Tyre pressure monitor", 12.3),
    "PAM": ("Parking aid", 12.4),
    "GCU": ("Gritter and plough support", 12.6),
}
MOST_JITTER_NS = ns(0.001)


def ready_times(message: MessageSpec, world: World) -> Int64Array:
    """Times at which the message's frames are handed to the bus, rising."""
    start_ns = ns(SENDERS[message.sender][1])
    times = [_cyclic(message, world.seed, start_ns)]
    if message.on_change:
        times.append(_changes(message, world, start_ns))
    return np.sort(np.concatenate(times))


def _cyclic(message: MessageSpec, seed: int, start_ns: int) -> Int64Array:
    """One frame a cycle; each control unit's clock is a little off, and each frame a little late."""
    if not message.cycle_ms:
        return np.empty(0, np.int64)
    cycle_ns = message.cycle_ms * 1_000_000
    off, phase = noise.uniform(seed, "clock " + message.name, 2)
    cycle = cycle_ns * (1.0 + (off - 0.5) * 1e-4)
    first = start_ns + phase * min(cycle_ns, ns(0.2))
    count = int((SLEEP_NS - first) // cycle)
    jitter = noise.uniform(seed, "jitter " + message.name, count, 0.0, min(MOST_JITTER_NS, cycle_ns // 50))
    return np.asarray(first + np.arange(count) * cycle + jitter, np.int64)


def _changes(message: MessageSpec, world: World, start_ns: int) -> Int64Array:
    """One frame a little after each change of a stepped signal, and one at the start."""
    names = [s.source for s in message.signals if isinstance(s.source, str) and s.source in world.steps]
    moments = np.unique(np.concatenate([world.steps[name].t_ns[1:] for name in names]))
    moments = moments[(moments > start_ns) & (moments < min(SLEEP_NS, END_NS))]
    late = noise.uniform(world.seed, "change " + message.name, len(moments), ns(0.0015), ns(0.005))
    return np.append(np.int64(start_ns), moments + late.astype(np.int64))
