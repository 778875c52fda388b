"""Payloads of one message at given times: values of the world packed into payload words."""

from __future__ import annotations

import numpy as np

from busprobe.frames import FloatArray, Int64Array, UInt64Array
from busprobe.van.spec import Guard, MessageSpec, SignalSpec, Wander
from busprobe.van.world import World, wander


def payloads(message: MessageSpec, world: World, t_ns: Int64Array) -> UInt64Array:
    """(n,) payload words of the frames that the message sends at `t_ns`, in that order."""
    words = np.zeros(len(t_ns), np.uint64)
    active = np.full(len(t_ns), -1, np.int64)
    for signal in message.signals:
        if signal.source in (Guard.XOR, Guard.SUM):
            continue
        raw = _raw(signal, world, t_ns)
        if signal.selects:
            active = raw
        packed = _packed(signal, raw)
        words |= packed if signal.only_when is None else np.where(active == signal.only_when, packed, np.uint64(0))
    for signal in message.signals:
        if isinstance(signal.source, Guard) and signal.source is not Guard.COUNTER:
            words |= _packed(signal, check_bytes(words, message.identifier, signal.source))
    return words


def _raw(signal: SignalSpec, world: World, t_ns: Int64Array) -> Int64Array:
    """Raw integers, held at the ends of what the signal's bits can say."""
    low, high = signal.raw_limits
    if signal.source is Guard.COUNTER:
        return np.arange(len(t_ns), dtype=np.int64) % (high + 1)
    raw = np.rint((_value(signal, world, t_ns) - signal.offset) / signal.scale)
    return np.clip(raw, low, high).astype(np.int64)


def _value(signal: SignalSpec, world: World, t_ns: Int64Array) -> FloatArray:
    match signal.source:
        case str(name):
            return world.value(name, t_ns)
        case Wander() as drift:
            return wander(drift, t_ns)
        case constant:
            assert isinstance(constant, float)
            return np.full(len(t_ns), constant)


def _packed(signal: SignalSpec, raw: Int64Array) -> UInt64Array:
    bits = raw.astype(np.uint64)
    words = np.zeros(len(raw), np.uint64)
    for low, width, place in signal.pieces:
        words |= (bits >> np.uint64(low) & np.uint64((1 << width) - 1)) << np.uint64(place)
    return words


def check_bytes(words: UInt64Array, identifier: int, rule: Guard) -> Int64Array:
    """Checksum of payloads whose own checksum byte is still zero; rules in `Guard`."""
    columns = words[:, None] >> (np.arange(8, dtype=np.uint64) * np.uint64(8)) & np.uint64(0xFF)
    if rule is Guard.XOR:
        total = np.bitwise_xor.reduce(columns, axis=1) ^ np.uint64((identifier & 0xFF) ^ 0xA5)
    else:
        total = columns.sum(axis=1, dtype=np.uint64) + np.uint64(identifier & 0xFF)
    return np.asarray(total & np.uint64(0xFF), np.int64)
