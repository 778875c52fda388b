"""Reads live sources for a bounded time, and opens buses that need no hardware."""

from __future__ import annotations

import itertools
import os
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import can

from busprobe.bench.model import Bus
from busprobe.frames import FrameBatch, join_frames
from busprobe.sources.bus import BusSource
from busprobe.sources.clock import Clock

PATIENCE_S = 60.0
"""Longest wait for something that comes within milliseconds on an idle machine."""
GROUP = "239.74.163.2"
_numbers = itertools.count()


def collect(source: BusSource, count: int) -> FrameBatch:
    """At least `count` frames of a source, in its order."""
    batches: list[FrameBatch] = []
    end = time.monotonic() + PATIENCE_S
    while sum(map(len, batches)) < count:
        assert time.monotonic() < end, f"{sum(map(len, batches))} of {count} frames came"
        batches.append(source.read())
    return join_frames(batches)


def read_until(source: BusSource, is_so: Callable[[], bool]) -> None:
    """Read until something has happened."""
    end = time.monotonic() + PATIENCE_S
    while not is_so():
        assert time.monotonic() < end, "it did not happen"
        source.read()


def free_port() -> int:
    """A UDP port that nobody uses."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("", 0))
        return int(probe.getsockname()[1])


def virtual_bus(**more: object) -> Bus:
    """A bus inside this process, of its own."""
    return Bus("body", "virtual", f"test {os.getpid()} {next(_numbers)}", **more)  # type: ignore[arg-type]


def udp_bus(name: str = "body", **more: object) -> Bus:
    return Bus(name, "udp_multicast", GROUP, options={"port": free_port()}, **more)  # type: ignore[arg-type]


@contextmanager
def opened(bus: Bus) -> Iterator[BusSource]:
    source = BusSource(bus)
    try:
        source.open(Clock())
        yield source
    finally:
        source.close()


@contextmanager
def other_end(bus: Bus) -> Iterator[can.BusABC]:
    """Somebody else on the bus."""
    options = {"hop_limit": 0, **bus.options} if bus.interface == "udp_multicast" else bus.options
    with can.Bus(interface=bus.interface, channel=bus.channel, ignore_config=True, **options) as other:
        yield other
