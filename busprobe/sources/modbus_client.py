"""pymodbus's client on a port that is already open, with the times of sending and receiving.

The library's own client looks for an answer every millisecond or every four characters, twice;
this one wakes as bytes arrive. Measured over a pseudo-terminal: 0.23 ms a poll against 2.5 ms.
"""

from __future__ import annotations

import logging
from typing import Any

from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient
from pymodbus.exceptions import ConnectionException

from busprobe.sources.box_options import SerialSettings
from busprobe.sources.clock import Clock
from busprobe.sources.serial_port import Port

# What the library says of a lost answer would be printed into the status line.
logging.getLogger("pymodbus").addHandler(logging.NullHandler())


class TimedClient(ModbusSerialClient):
    """A client that notes when it sent and when it received."""

    def __init__(self, port: Port, settings: SerialSettings, timeout_s: float) -> None:
        super().__init__(
            settings.port,
            framer=FramerType.RTU,
            baudrate=settings.baudrate,
            parity=settings.parity,
            stopbits=settings.stopbits,
            timeout=timeout_s,
            retries=0,
        )
        self.socket = port
        self.clock = Clock()
        self.sent_ns = 0
        self.received_ns = 0
        self.received = 0
        """Bytes since the newest request."""

    def close(self) -> None:
        super().close()  # type: ignore[no-untyped-call]

    def send(self, request: bytes, addr: tuple[Any, ...] | None = None) -> int:
        self.sent_ns, self.received = self.clock.now_ns(), 0
        return int(super().send(request, addr))

    def recv(self, size: int | None) -> bytes:
        """What has come, at least one byte; nothing after the time-out."""
        if self.socket is None:
            raise ConnectionException("the port is closed")
        try:
            data = bytes(self.socket.read(max(1, self.socket.in_waiting)))
        except OSError as error:
            self.close()
            raise ConnectionException(str(error)) from error
        self.received_ns = self.clock.now_ns()
        self.received += len(data)
        return data
