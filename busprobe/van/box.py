"""The input box: fourteen wires and two voltages, polled every 10 ms."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from busprobe.frames import Int32Array, Int64Array, UInt64Array
from busprobe.van import noise
from busprobe.van.faults import CHATTER_AT_NS, CHATTER_LENGTH_NS, Fault
from busprobe.van.script import END_NS
from busprobe.van.steps import Steps, ns, simplified, steps_of
from busprobe.van.world import World, battery

BOX = "box"
POLL_NS = ns(0.01)
POLL_JITTER_NS = ns(0.00015)
ANALOGUE_STEP_MV = 5
FEED_TAIL_NS = ns(0.06)
"""The auxiliary feed's capacitors empty with this time constant."""


@dataclass(frozen=True)
class Wire:
    """Line number k of the box is entry k of WIRES."""

    name: str
    active_low: bool = False
    bounce_ns: tuple[int, int] = (0, 0)
    """Shortest and longest piece of a contact's bounce; (0, 0) for an electronic output."""


# A worn door contact bounces for tens of milliseconds, a good switch for one to six; the worst of
# J. Ganssle, "A Guide to Debouncing", 2004, took 157 ms (figures from memory).
DOOR_BOUNCE = (ns(0.005), ns(0.012))
SWITCH_BOUNCE = (ns(0.0005), ns(0.002))

WIRES = (
    Wire("rear_door_pin", True, DOOR_BOUNCE),
    Wire("side_door_pin", True, DOOR_BOUNCE),
    Wire("beacon_left"),
    Wire("beacon_right"),
    Wire("front_white"),
    Wire("rear_white"),
    Wire("strip"),
    Wire("siren"),
    Wire("door_alert"),
    Wire("rear_warning"),
    Wire("ignition_sense"),
    Wire("beacon_switch", False, SWITCH_BOUNCE),
    Wire("siren_switch", False, SWITCH_BOUNCE),
    Wire("warning_switch", False, SWITCH_BOUNCE),
)
ANALOGUE = ("battery", "aux_feed_volts")
FROM_WORLD = {
    "rear_door_pin": "rear_door",
    "side_door_pin": "side_door",
    "ignition_sense": "ignition",
    "beacon_switch": "beacon_switch",
    "siren_switch": "siren_switch",
    "warning_switch": "warning_switch",
}
"""Wires that carry something of the world; the others carry outputs of the controller."""


@dataclass(frozen=True)
class Polls:
    t_ns: Int64Array
    mask: UInt64Array
    analogue: Int32Array


def contacts(world: World, outputs: Mapping[str, Steps], faults: Collection[Fault]) -> dict[str, Steps]:
    """Every wire by name, with the bounce of its contact: 1 where it is active."""
    return {wire.name: _contact(world, wire, outputs, faults) for wire in WIRES}


def levels(wires: Mapping[str, Steps]) -> Steps:
    """Electrical levels of all wires together: bit k is that of line number k."""
    t_ns = np.unique(np.concatenate([wires[wire.name].t_ns for wire in WIRES]))
    mask = np.zeros(len(t_ns), np.int64)
    for number, wire in enumerate(WIRES):
        level = wires[wire.name].at(t_ns) != int(wire.active_low)
        mask |= level.astype(np.int64) << number
    return simplified(t_ns, mask)


def polls(world: World, wires: Mapping[str, Steps], feed: Steps) -> Polls:
    """All polls of the cycle; `feed` is the auxiliary feed, switched by the controller."""
    count = END_NS // POLL_NS
    jitter = noise.uniform(world.seed, "poll", count, 0.0, POLL_JITTER_NS).astype(np.int64)
    t_ns = (np.arange(count) * POLL_NS + jitter) // 1000 * 1000
    mask = levels(wires).at(t_ns).astype(np.uint64)
    return Polls(t_ns, mask, _analogue(world, feed, t_ns))


def _contact(world: World, wire: Wire, outputs: Mapping[str, Steps], faults: Collection[Fault]) -> Steps:
    if wire.name not in FROM_WORLD:
        return outputs[wire.name]
    state = world.steps[FROM_WORLD[wire.name]]
    extra: list[tuple[int, int]] = []
    if wire.bounce_ns[1]:
        extra += _bounce(world, wire, state)
    if wire.name == "rear_door_pin" and Fault.CHATTERING_DOOR in faults:
        pieces = chatter(world, CHATTER_AT_NS, CHATTER_LENGTH_NS)
        extra += pieces[: len(pieces) // 2 * 2]
    points = zip(state.t_ns[1:].tolist(), state.values[1:].tolist(), strict=True)
    return steps_of([*points, *extra], int(state.values[0]))


def _bounce(world: World, wire: Wire, state: Steps) -> list[tuple[int, int]]:
    """After each change none, one or two returns to the old state, all over within 50 ms."""
    out: list[tuple[int, int]] = []
    low, high = wire.bounce_ns
    returns = noise.uniform(world.seed, "bounce count " + wire.name, len(state.t_ns), 0.5, 3.0).astype(np.int64)
    pieces = noise.uniform(world.seed, "bounce " + wire.name, 4 * len(state.t_ns), low, high).astype(np.int64)
    for edge in range(1, len(state.t_ns)):
        lasting = np.cumsum(pieces[4 * edge : 4 * edge + 2 * int(returns[edge])])
        old, new = int(state.values[edge - 1]), int(state.values[edge])
        out += [(int(state.t_ns[edge] + after), (old, new)[place % 2]) for place, after in enumerate(lasting)]
    return out


def chatter(world: World, at_ns: int, length_ns: int) -> list[tuple[int, int]]:
    """A contact that opens and shuts without rest, open first; each piece is long enough to be polled."""
    count = length_ns // ns(0.011)
    pieces = np.cumsum(noise.uniform(world.seed, "chatter", count, ns(0.011), ns(0.022)).astype(np.int64))
    times = at_ns + np.append(np.int64(0), pieces[pieces < length_ns])
    return [(t, (place + 1) % 2) for place, t in enumerate(times.tolist())]


def _analogue(world: World, feed: Steps, t_ns: Int64Array) -> Int32Array:
    """(n, 2) millivolts: the battery, and the auxiliary feed behind the controller."""
    volts = battery(world, t_ns)
    since_ns = t_ns - feed.t_ns[np.searchsorted(feed.t_ns, t_ns, side="right") - 1]
    left = np.where(t_ns < feed.t_ns[1], 0.0, volts * np.exp(-since_ns / FEED_TAIL_NS))
    fed = np.where(feed.at(t_ns) != 0, volts - 0.12, left)
    steps = np.rint(np.stack([volts, fed], axis=1) * 1000.0 / ANALOGUE_STEP_MV)
    return (steps * ANALOGUE_STEP_MV).astype(np.int32)
