"""Processor time per received frame beside a bare python-can loop, in one run; started by hand.

    python tests/benchmarks/bench_live_receive.py [seconds]

Two channels of udp_multicast, one port each, 16,000 frames a second in total, from another
process; then the highest rate at which nothing is lost; then slcan over a pseudo-terminal as
fast as it goes.
"""

from __future__ import annotations

import multiprocessing
import os
import pty
import random
import sys
import threading
import time
import tty
from collections.abc import Callable
from multiprocessing.synchronize import Event
from statistics import median
from typing import NamedTuple

import can
from can.interfaces.udp_multicast.utils import pack_message

from busprobe.bench.model import Bus
from busprobe.sources.bus import BusSource
from busprobe.sources.bus_opening import open_bus
from busprobe.sources.clock import Clock
from busprobe.sources.socket_health import dropped

GROUP = "239.74.163.2"
PORTS = (43201, 43202)
RATE = 16_000
RATES = (16_000, 24_000, 32_000, 40_000, 48_000, 64_000)
SLCAN_FRAMES = 30_000


class Run(NamedTuple):
    """One run: frames received and lost, processor time of this process for each frame received."""

    received: int
    lost: int
    cpu_us: float


def send(rate: float, seconds: float, go: Event) -> None:
    """Another process: the frames of two buses in turns, packed beforehand."""
    source = random.Random(3)
    packed = [
        pack_message(can.Message(arbitration_id=0x100 + k, is_extended_id=False, data=source.randbytes(8)))
        for k in range(100)
    ]
    bus = can.Bus(interface="udp_multicast", channel=GROUP, port=PORTS[0], hop_limit=0, ignore_config=True)
    sendto = bus._multicast._socket.sendto
    go.wait()
    start, sent, total = time.perf_counter(), 0, int(rate * seconds)
    while sent < total:
        due = min(total, int((time.perf_counter() - start) * rate))
        while sent < due:
            sendto(packed[sent % 100], (GROUP, PORTS[sent % 2]))
            sent += 1
        time.sleep(0.001)
    bus.shutdown()


def bare(bus: Bus, is_over: Callable[[], bool]) -> tuple[int, int]:
    """What is compared with: nothing but recv."""
    with open_bus(bus)[0] as device:
        recv, received = device.recv, 0
        while not is_over():
            for _ in range(200):
                if recv(0.05) is not None:
                    received += 1
        return received, dropped(device.fileno())


def ours(bus: Bus, is_over: Callable[[], bool]) -> tuple[int, int]:
    source = BusSource(bus)
    source.open(Clock())
    received = 0
    while not is_over():
        received += len(source.read())
    source.close()
    return received, source.health().lost


def run(receive: Callable[[Bus, Callable[[], bool]], tuple[int, int]], rate: float, seconds: float) -> Run:
    """Both channels, a thread each, until half a second after the last frame."""
    buses = [Bus(f"bus{k}", "udp_multicast", GROUP, options={"port": port}) for k, port in enumerate(PORTS)]
    over = threading.Event()
    results: list[tuple[int, int]] = []
    threads = [threading.Thread(target=lambda b=b: results.append(receive(b, over.is_set))) for b in buses]
    go = multiprocessing.Event()
    sender = multiprocessing.Process(target=send, args=(rate, seconds, go))
    sender.start()
    time.sleep(1.5)
    for thread in threads:
        thread.start()
    time.sleep(0.3)
    before = time.process_time()
    go.set()
    sender.join()
    time.sleep(0.5)
    cpu = time.process_time() - before
    over.set()
    for thread in threads:
        thread.join()
    received = sum(count for count, _ in results)
    return Run(received, int(rate * seconds) - received, cpu * 1e6 / received)


def flood(master: int, go: Event) -> None:
    """Another process: the adapter's end of a pseudo-terminal."""
    os.set_blocking(master, True)
    go.wait()
    line = b"t12380102030405060708\r"
    for _ in range(SLCAN_FRAMES // 50):
        os.write(master, 50 * line)


def slcan() -> tuple[float, float]:
    """Frames a second through python-can's slcan driver and `BusSource`, and processor time per frame in us."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    source = BusSource(Bus("body", "slcan", os.ttyname(slave), 500_000, options={"sleep_after_open": 0}))
    source.open(Clock())
    go = multiprocessing.Event()
    sender = multiprocessing.Process(target=flood, args=(master, go))
    sender.start()
    time.sleep(1.0)
    go.set()
    start, cpu, received = time.perf_counter(), time.process_time(), 0
    while received < SLCAN_FRAMES and time.perf_counter() - start < 60:
        received += len(source.read())
    seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
    source.close()
    sender.join()
    return received / seconds, cpu * 1e6 / received


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    pairs = [(run(bare, RATE, seconds), run(ours, RATE, seconds)) for _ in range(3)]
    for name, runs in (("bare recv loop", [b for b, _ in pairs]), ("BusSource.read", [o for _, o in pairs])):
        cpu = median(r.cpu_us for r in runs)
        print(
            f"{name}: {cpu:5.2f} us a frame, {sum(r.received for r in runs)} frames, {sum(r.lost for r in runs)} lost"
        )
    print(f"ratio: {median(o.cpu_us / b.cpu_us for b, o in pairs):.2f}")
    for name, receive in (("bare recv loop", bare), ("BusSource.read", ours)):
        best = 0
        for rate in RATES:
            if run(receive, rate, seconds / 2).lost:
                break
            best = rate
        print(f"{name}: nothing lost up to {best} frames/s")
    rate, cpu_us = slcan()
    print(f"slcan: {rate:.0f} frames/s at most, {cpu_us:.1f} us a frame")


if __name__ == "__main__":
    main()
