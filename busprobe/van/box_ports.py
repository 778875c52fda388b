"""The simulated van's input boxes as serial ports: one that prints lines, one that speaks Modbus RTU.

TextLinePort   levels(t) ──> lines ──> pseudo-terminal
ModbusPort     levels(t) ──> pymodbus's server ── pseudo-terminal ═ copied ═ pseudo-terminal
"""

from __future__ import annotations

import asyncio
import logging
import select
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, Self

from busprobe.errors import DeviceError
from busprobe.van.pseudo_port import PseudoPort

if TYPE_CHECKING:
    from pymodbus.constants import ExcCodes
    from pymodbus.server import ModbusSerialServer

US_WRAP = 1 << 32
HEADER_EVERY = 100
"""Lines from one header to the next."""
MOST_BEHIND_NS = 1_000_000_000
"""Samples older than this are left out when the machine did not keep up."""
READY_S = 10.0
ON_OFF, REGISTERS = 64, 32
"""Lines of the Modbus box."""


class Levels(NamedTuple):
    """All lines of a box at one time."""

    mask: int
    """Bit k is the level of on/off line k."""
    millivolts: tuple[int, ...] = ()


LevelsAt = Callable[[int], Levels]
"""Time in ns, on the clock that the port was given, to levels."""


class TextLinePort:
    """Prints a line every period; each has the exact time at which it was due, however late it is printed."""

    def __init__(
        self,
        levels: LevelsAt,
        on_off: int,
        *,
        period_ns: int = 10_000_000,
        now_ns: Callable[[], int] = time.monotonic_ns,
        first_us: int = 0,
        link: Path | None = None,
    ) -> None:
        """on_off: how many on/off lines. first_us: the board's clock at the start. link: a path for the port."""
        self._levels = levels
        self._on_off = on_off
        self._period_ns = period_ns
        self._now_ns = now_ns
        self._first_us = first_us
        self._port = PseudoPort()
        self.port = self._port.path
        if link is not None:
            self._port.link(link)
        self.is_silent = False
        """Set to print nothing for a time."""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="text-lines box", daemon=True)

    def start(self) -> Self:
        self._thread.start()
        return self

    def write(self, data: bytes) -> None:
        """Print something else, such as rubbish."""
        self._port.write(data)

    def close(self) -> None:
        """Stop, as if unplugged."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        self._port.close()

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.close()

    def _run(self) -> None:
        start_ns = due_ns = self._now_ns()
        count = 0
        while not self._stop.is_set():
            now_ns = self._now_ns()
            if due_ns > now_ns:
                self._stop.wait((due_ns - now_ns) / 1e9)
                continue
            if due_ns < now_ns - MOST_BEHIND_NS:
                due_ns += (now_ns - due_ns) // self._period_ns * self._period_ns
            levels = self._levels(due_ns)
            if not self.is_silent:
                if count % HEADER_EVERY == 0:
                    self._port.write(header(self._on_off, len(levels.millivolts)))
                self._port.write(text_line(self._first_us + (due_ns - start_ns) // 1000, levels, self._on_off))
            due_ns += self._period_ns
            count += 1


def header(on_off: int, analogue: int) -> bytes:
    """The remark that stands above lines of this shape."""
    return f"# {on_off} lines, {analogue} voltages\r\n".encode()


def text_line(time_us: int, levels: Levels, on_off: int) -> bytes:
    """One line with its check, as the format of input boxes says."""
    signs = "".join("01"[levels.mask >> number & 1] for number in range(on_off))
    said = " ".join([str(time_us % US_WRAP), signs, *(str(mv) for mv in levels.millivolts)]).encode()
    return said + b" #%02X\r\n" % (sum(said) & 0xFF)


class ModbusPort:
    """A Modbus RTU box: discrete inputs and coils are the on/off lines, input registers the voltages."""

    def __init__(
        self,
        levels: LevelsAt,
        *,
        unit: int = 1,
        scale: float = 1.0,
        now_ns: Callable[[], int] = time.monotonic_ns,
        link: Path | None = None,
    ) -> None:
        """scale: millivolts of one count. link: a path for the port."""
        self._levels = levels
        self._unit = unit
        self._scale = scale
        self._now_ns = now_ns
        self._near = PseudoPort()
        self.port = self._near.path
        if link is not None:
            self._near.link(link)
        self._server_end = PseudoPort()
        self.is_silent = False
        """Set to let requests go unanswered."""
        self.exception: int | None = None
        """Set to answer every request with this Modbus exception."""
        self.noise = b""
        """Sent before each answer."""
        self._is_ready = threading.Event()
        self._stop = threading.Event()
        self._threads = (
            threading.Thread(target=lambda: asyncio.run(self._serve()), name="Modbus box", daemon=True),
            threading.Thread(target=self._copy, name="Modbus wire", daemon=True),
        )

    def start(self) -> Self:
        for thread in self._threads:
            thread.start()
        if not self._is_ready.wait(READY_S):
            raise DeviceError("The simulated Modbus box does not start.")
        return self

    def close(self) -> None:
        """Stop, as if unplugged."""
        self._stop.set()
        for thread in self._threads:
            if thread.is_alive():
                thread.join()
        self._near.close()
        self._server_end.close()

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.close()

    async def _serve(self) -> None:
        server = self._server()
        await server.serve_forever(background=True)
        self._is_ready.set()
        while not self._stop.is_set():
            await asyncio.sleep(0.05)
        await server.shutdown()  # type: ignore[no-untyped-call]

    def _server(self) -> ModbusSerialServer:
        from pymodbus import FramerType
        from pymodbus.server import ModbusSerialServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        # What the server says of requests that it cannot answer is no message to the user.
        logging.getLogger("pymodbus").addHandler(logging.NullHandler())

        def bits() -> list[SimData]:
            return [SimData(0, count=ON_OFF, values=False, datatype=DataType.BITS)]

        def registers() -> list[SimData]:
            return [SimData(0, count=REGISTERS, values=0, datatype=DataType.REGISTERS)]

        device = SimDevice(self._unit, simdata=(bits(), bits(), registers(), registers()), action=self._action)
        return ModbusSerialServer(device, framer=FramerType.RTU, port=self._server_end.path, baudrate=115_200)

    async def _action(
        self, function: int, _start: int, _address: int, _count: int, current: list[int], _set: object
    ) -> ExcCodes | None:
        """Fill in what a request is about to read."""
        from pymodbus.constants import ExcCodes

        if self.exception is not None:
            return ExcCodes(self.exception)
        levels = self._levels(self._now_ns())
        if function in (1, 2):
            words = [levels.mask >> shift & 0xFFFF for shift in range(0, ON_OFF, 16)]
        else:
            words = [round(mv / self._scale) & 0xFFFF for mv in levels.millivolts]
        current[: len(words)] = words
        return None

    def _copy(self) -> None:
        """The wire between the two pseudo-terminals, until the box is closed."""
        near, far = self._near, self._server_end
        while not self._stop.is_set():
            ready, _, _ = select.select([near.fd, far.fd], [], [], 0.05)
            if near.fd in ready and (request := near.read()) and not self.is_silent:
                far.write(request)
            if far.fd in ready and (answer := far.read()):
                near.write(self.noise + answer)
