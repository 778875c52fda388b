"""The bus: frames that are ready become frames on the wire, one at a time, in order of priority."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busprobe.frames import EXTENDED, BoolArray, Int64Array, UInt8Array, UInt32Array, UInt64Array
from busprobe.van.catalogue import BITRATE, MESSAGES, ready_times
from busprobe.van.encode import payloads
from busprobe.van.world import World

BIT_NS = 1_000_000_000 // BITRATE
NO_MESSAGE = -1


@dataclass(frozen=True)
class Traffic:
    """Frames as parallel arrays, in the order of `t_ns`."""

    t_ns: Int64Array
    """When each frame is ready to be sent, later when it has been received."""
    message: Int64Array
    """Index into MESSAGES, or -1 for diagnostic frames."""
    identifier: UInt32Array
    length: UInt8Array
    payload: UInt64Array

    @property
    def flags(self) -> UInt8Array:
        return np.where(self.identifier > 0x7FF, EXTENDED, 0).astype(np.uint8)

    def take(self, rows: Int64Array | BoolArray) -> Traffic:
        return Traffic(
            self.t_ns[rows], self.message[rows], self.identifier[rows], self.length[rows], self.payload[rows]
        )

    def carries(self, name: str) -> BoolArray:
        """Which frames are of the message `name`."""
        index = next(i for i, m in enumerate(MESSAGES) if m.name == name)
        return np.asarray(self.message == index)

    def stamps(self, name: str) -> Int64Array:
        """Times of the frames of the message `name`."""
        out: Int64Array = self.t_ns[self.carries(name)]
        return out


def of_messages(world: World) -> Traffic:
    """The frames of every message of the database, when they are ready."""
    parts = []
    for index, message in enumerate(MESSAGES):
        t_ns = ready_times(message, world)
        count = len(t_ns)
        parts.append(
            Traffic(
                t_ns,
                np.full(count, index),
                np.full(count, message.identifier, np.uint32),
                np.full(count, message.length, np.uint8),
                payloads(message, world, t_ns),
            )
        )
    return joined(parts)


def joined(parts: list[Traffic]) -> Traffic:
    return Traffic(
        np.concatenate([p.t_ns for p in parts]),
        np.concatenate([p.message for p in parts]),
        np.concatenate([p.identifier for p in parts]),
        np.concatenate([p.length for p in parts]),
        np.concatenate([p.payload for p in parts]),
    )


def wire_ns(traffic: Traffic) -> Int64Array:
    """Longest time that each frame can take, with the three bits of space after it.

    Source: ISO 11898-1 fields, most stuff bits (34 + 8 n - 1) // 4 and (54 + 8 n - 1) // 4
    after Davis, Burns, Bril and Lukkien, "Controller Area Network schedulability analysis", 2007.
    """
    data = 8 * traffic.length.astype(np.int64)
    extended = traffic.identifier > 0x7FF
    bits = np.where(extended, 67 + data + (53 + data) // 4, 47 + data + (33 + data) // 4)
    return bits * BIT_NS


def _priority(identifier: UInt32Array) -> Int64Array:
    """What decides on the wire, least first: base identifier, then 11-bit before 29-bit."""
    value = identifier.astype(np.int64)
    extended = value > 0x7FF
    return np.where(extended, (value >> 18 << 19) | 1 << 18 | value & 0x3FFFF, value << 19)


def on_the_wire(ready: Traffic) -> Traffic:
    """The same frames, stamped in whole microseconds when they have been received.

    A frame that finds the bus busy waits; of those that wait the most urgent goes first.
    """
    order = np.lexsort((_priority(ready.identifier), ready.t_ns))
    wire = wire_ns(ready)
    begins = ready.t_ns[order]
    total = np.cumsum(wire[order])
    ends = total + np.maximum.accumulate(begins - (total - wire[order]))
    idle = np.append(np.flatnonzero(np.append(True, begins[1:] >= ends[:-1])), len(order))
    # A busy spell is as long in any order, so only those with a choice are looked at one by one.
    for first in np.flatnonzero(np.diff(idle) > 2).tolist():
        rows = order[idle[first] : idle[first + 1]]
        order[idle[first] : idle[first + 1]] = _urgent_first(rows, ready, wire)
    begins = ready.t_ns[order]
    total = np.cumsum(wire[order])
    ends = total + np.maximum.accumulate(begins - (total - wire[order]))
    sent = ready.take(order)
    return Traffic(ends // 1000 * 1000, sent.message, sent.identifier, sent.length, sent.payload)


def _urgent_first(rows: Int64Array, ready: Traffic, wire: Int64Array) -> Int64Array:
    """Order of the frames of one busy spell: at each end the most urgent one that is ready."""
    priority = _priority(ready.identifier[rows]).tolist()
    begins = ready.t_ns[rows].tolist()
    takes = wire[rows].tolist()
    waiting = list(range(len(rows)))
    now = begins[0]
    out = []
    while waiting:
        best = min((i for i in waiting if begins[i] <= now), key=lambda i: priority[i])
        waiting.remove(best)
        out.append(best)
        now += takes[best]
    return np.asarray(rows[np.array(out)])
