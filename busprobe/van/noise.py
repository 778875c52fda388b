"""Repeatable noise: uniform numbers that depend on nothing but a seed and a topic.

The mixing function is splitmix64 (Steele, Lea and Flood, 2014; constants from memory). It is
written out here so that a seed gives the same van with every version of every library.
"""

from __future__ import annotations

import zlib

import numpy as np

from busprobe.frames import FloatArray, Int64Array, UInt64Array

_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX = ((np.uint64(30), np.uint64(0xBF58476D1CE4E5B9)), (np.uint64(27), np.uint64(0x94D049BB133111EB)))


def _words(seed: int, topic: str, numbers: UInt64Array) -> UInt64Array:
    start = np.uint64((seed * 0x1_0000_0001 + zlib.crc32(topic.encode())) & 0xFFFF_FFFF_FFFF_FFFF)
    with np.errstate(over="ignore"):
        z = (start + numbers) * _STEP
        for shift, factor in _MIX:
            z = (z ^ (z >> shift)) * factor
        out: UInt64Array = z ^ (z >> np.uint64(31))
    return out


def uniform(seed: int, topic: str, count: int, low: float = 0.0, high: float = 1.0) -> FloatArray:
    """(count,) numbers from low up to high; a longer draw begins with the shorter one."""
    return _spread(_words(seed, topic, np.arange(1, count + 1, dtype=np.uint64)), low, high)


def at_times(seed: int, topic: str, t_ns: Int64Array, low: float, high: float) -> FloatArray:
    """(n,) numbers that belong to the times: the same time gets the same number among any others."""
    return _spread(_words(seed, topic, t_ns.astype(np.uint64)), low, high)


def _spread(words: UInt64Array, low: float, high: float) -> FloatArray:
    share = (words >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return low + (high - low) * share


def single(seed: int, topic: str, low: float = 0.0, high: float = 1.0) -> float:
    """One such number."""
    return float(uniform(seed, topic, 1, low, high)[0])
