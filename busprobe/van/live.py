"""The patrol van in real time, on the bus and the input box of a bench file.

frames       each at its due time; what the machine did not keep up with is sent at once
requests     answered by the control units while the ignition is on
input box    a pseudo-terminal that prints lines or speaks Modbus RTU, as the bench file says

with Van(load(bench_file), from_ns=ns(230)) as van:
    van.toggle(LIVE_FAULTS["late rear white"])
"""

from __future__ import annotations

import threading
import time
from collections.abc import Collection
from contextlib import ExitStack
from dataclasses import replace
from typing import Self

import numpy as np

from busprobe.bench.model import Bench
from busprobe.errors import DeviceError
from busprobe.sources.simulated_bus import SimulatedBus
from busprobe.van.live_faults import FOR_EVER_NS, Kind, LiveFault, Spell
from busprobe.van.live_ports import BoxPort, van_box, van_bus
from busprobe.van.schedule import Schedule
from busprobe.van.steps import ns
from busprobe.van.traffic import Traffic
from busprobe.van.van_units import van_units

PIECE_NS = ns(0.05)
LEAD_NS = ns(0.5)
"""A fault begins this long after its key: in that time the drive is planned again."""
LONGEST_WAIT_NS = ns(0.1)


class Van:
    """Drives in a thread of its own from `start` to `close`."""

    def __init__(self, bench: Bench, *, seed: int = 1, from_ns: int = 0, spells: Collection[Spell] = ()) -> None:
        """from_ns: where in the drive to start. spells: faults in ns since the start.

        Raises DeviceError where the bench file has no simulated bus or box, or they do not open.
        """
        self._from_ns = from_ns
        moved = [replace(s, from_ns=s.from_ns + from_ns, to_ns=min(s.to_ns + from_ns, FOR_EVER_NS)) for s in spells]
        self.schedule = Schedule(seed, moved)
        self.schedule.prepare(from_ns)
        self._units = van_units(self.schedule.world_at)
        self.bus = van_bus(bench)
        self._bus = SimulatedBus(self.bus)
        with ExitStack() as on_error:
            on_error.callback(self._bus.close)
            self._box: BoxPort | None = van_box(bench, self.schedule.levels_at, lambda: self.drive_ns)
            on_error.pop_all()
        self._zero_ns = time.monotonic_ns()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="van", daemon=True)
        self.frames_sent = 0
        self.answers_sent = 0
        """Frames of answers to requests of others."""
        self.most_late_ns = 0
        """Greatest delay of a frame."""
        self.trouble: DeviceError | None = None
        """Why it stopped sending, if it did."""

    @property
    def drive_ns(self) -> int:
        """Drive time now."""
        return time.monotonic_ns() - self._zero_ns + self._from_ns

    @property
    def run_ns(self) -> int:
        """Time since the start."""
        return self.drive_ns - self._from_ns

    @property
    def port(self) -> str:
        """Path of the input box; empty where there is none."""
        return self._box.port if self._box is not None else ""

    def start(self) -> Self:
        self._zero_ns = time.monotonic_ns()
        if self._box is not None:
            self._box.start()
        self._thread.start()
        return self

    def close(self) -> None:
        """Stop, and take the ports away."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        if self._box is not None:
            self._box.close()
        self._bus.close()

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.close()

    def toggle(self, fault: LiveFault) -> None:
        """Set the fault, or take it back, within about a second."""
        self.schedule.toggle(fault, self.drive_ns + LEAD_NS)

    def _run(self) -> None:
        done_ns = self._from_ns
        try:
            while not self._stop.is_set():
                piece = self.schedule.piece(done_ns, PIECE_NS)
                self._send(piece.frames)
                done_ns = piece.end_ns
                self._wait_until(done_ns)
        except DeviceError as error:
            self.trouble = error

    def _send(self, frames: Traffic) -> None:
        columns = (frames.t_ns, frames.identifier, frames.length, frames.payload)
        for t_ns, identifier, length, payload in zip(*(column.tolist() for column in columns), strict=True):
            self._wait_until(t_ns)
            if self._stop.is_set():
                return
            self._bus.send(identifier, payload.to_bytes(8, "little")[:length])
            self.frames_sent += 1
            self.most_late_ns = max(self.most_late_ns, self.drive_ns - t_ns)

    def _wait_until(self, t_ns: int) -> None:
        """Hear requests and send answers until a drive time has come."""
        while not self._stop.is_set():
            now_ns = self.drive_ns
            for answer in self._units.due(now_ns):
                self._bus.send(answer.identifier, answer.data)
                self.answers_sent += 1
            if now_ns >= t_ns:
                return
            next_ns = min(t_ns, self._units.next_ns or t_ns, now_ns + LONGEST_WAIT_NS)
            heard = self._bus.receive((next_ns - now_ns) / 1e9)
            if heard is not None and self._is_answering(self.drive_ns):
                self._units.feed(self.drive_ns, heard.identifier, heard.payload)

    def _is_answering(self, t_ns: int) -> bool:
        world, place_ns = self.schedule.world_at(t_ns)
        is_silent = any(fault.kind is Kind.BUS_SILENT for fault in self.schedule.active(t_ns))
        return not is_silent and bool(world.value("ignition", np.array([place_ns]))[0])
