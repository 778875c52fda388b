"""A small adapter that speaks slcan on a pseudo-terminal, and the vehicle behind it.

    -> V\r            <- V1013\r      version
    -> N\r            <- NA123\r      serial number
    -> S6\r           <- \r           500 kbit/s (s and two registers: other rates)
    -> L\r or O\r     <- \r           open, listen-only or acknowledging
                      <- t1232AABB\r  a frame, once the rate is that of the vehicle
    -> C\r            <- \r           close

The commands are those that python-can's driver sends; the adapter refuses (BEL) what it does not know.
"""

from __future__ import annotations

import contextlib
import os
import pty
import select
import threading
import time
import tty
from collections import deque

RATES = {
    "S0": 10_000, "S1": 20_000, "S2": 50_000, "S3": 100_000, "S4": 125_000, "S5": 250_000, "S6": 500_000,
    "S7": 750_000, "S8": 1_000_000, "S9": 83_300,
}  # fmt: skip
REGISTERS = {"scb3e": 33_333}
OK, BEL = b"\r", b"\a"


class SlcanAdapter:
    """Runs until `unplug`; `port` is what the bench file names.

    vehicle_rate: bit rate of the bus that it is plugged into. traffic: frames that the vehicle
    sends over and over, one every `every_s`. knows: rates that the adapter can be set to; a refused
    one leaves it at the rate before. lag_s: what the vehicle sends comes out of the port this much later,
    whatever was commanded meanwhile.
    """

    def __init__(
        self,
        vehicle_rate: int = 500_000,
        traffic: tuple[str, ...] = (),
        every_s: float = 0.002,
        knows: tuple[int, ...] | None = None,
        lag_s: float = 0.0,
    ) -> None:
        self.master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self.commands: list[str] = []
        self.sent: deque[bytes] = deque()
        self._vehicle_rate = vehicle_rate
        self._traffic, self._every_s = traffic, every_s
        self._knows = knows
        self._lag_s = lag_s
        self._held: deque[tuple[float, bytes]] = deque()
        self._rate: int | None = None
        self._is_open = False
        self._out: deque[bytes] = deque()
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def frames(self, *lines: str) -> None:
        """The vehicle sends frames ("t1232AABB"); heard only while the channel is open at its rate."""
        with self._lock:
            self._out.extend(f"{line}\r".encode() for line in lines)

    def noise(self, data: bytes) -> None:
        """Bytes that come whatever the state."""
        os.write(self.master, data)

    def unplug(self) -> None:
        if not self._stop.is_set():
            self._stop.set()
            self._thread.join(5)
            os.close(self.master)
            os.close(self._slave)

    def __enter__(self) -> SlcanAdapter:
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    @property
    def is_hearing(self) -> bool:
        return self._is_open and self._rate == self._vehicle_rate

    def _run(self) -> None:
        buffer, turn, due = b"", 0, time.monotonic()
        while not self._stop.is_set():
            if select.select([self.master], [], [], self._every_s)[0]:
                with contextlib.suppress(OSError):
                    buffer += os.read(self.master, 4096)
                *lines, buffer = buffer.split(b"\r")
                for line in lines:
                    os.write(self.master, self._answer(line.decode("ascii")))
            now = time.monotonic()
            while self._held and self._held[0][0] <= now:
                os.write(self.master, self._held.popleft()[1])
            if not self.is_hearing:
                continue
            with self._lock:
                waiting, self._out = self._out, deque()
            for line in waiting:
                self._give(line)
            if self._traffic and now >= due:
                self._give(f"{self._traffic[turn % len(self._traffic)]}\r".encode())
                turn, due = turn + 1, now + self._every_s

    def _give(self, line: bytes) -> None:
        if self._lag_s:
            self._held.append((time.monotonic() + self._lag_s, line))
        else:
            os.write(self.master, line)

    def _answer(self, command: str) -> bytes:
        if command:
            self.commands.append(command)
        match command[:1]:
            case "V":
                return b"V1013\r"
            case "N":
                return b"NA123\r"
            case "S" | "s":
                rate = RATES.get(command) or REGISTERS.get(command.lower())
                if self._is_open or rate is None or (self._knows is not None and rate not in self._knows):
                    return BEL
                self._rate = rate
                return OK
            case "O" | "L":
                if self._is_open or self._rate is None:
                    return BEL
                self._is_open = True
                return OK
            case "C":
                was_open, self._is_open = self._is_open, False
                return OK if was_open else BEL
            case "t" | "T" | "r" | "R":
                self.sent.append(command.encode())
                return b"z\r"
            case "":
                return OK
        return BEL
