"""A live CAN bus through python-can, and the one guarded send of the program.

driver ──> BusConnection ──> batches        one connection from plugging in to unplugging
              ^
send(identifier, data, permit)              refused on a listen-only bus
"""

from __future__ import annotations

import os
from dataclasses import replace

import can

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch
from busprobe.health import Health
from busprobe.sources.bus_connection import BusConnection
from busprobe.sources.bus_opening import open_bus, set_slcan_rate
from busprobe.sources.bus_trouble import gone, not_sent, set_link_rate
from busprobe.sources.clock import Clock
from busprobe.sources.driver_arguments import driver_arguments
from busprobe.sources.permit import SendPermit, permit_requests
from busprobe.sources.sendable import refuse_frame

SEND_TIMEOUT_S = 0.5


class BusSource:
    """One `[[bus]]` of the bench file."""

    def __init__(self, bus: Bus) -> None:
        self._bus = bus
        self._mark = f"busprobe {os.getpid()} {id(self)}"
        self._connection: BusConnection | None = None
        self._health = Health()

    @property
    def name(self) -> str:
        return self._bus.name

    def open(self, clock: Clock) -> None:
        """Connect. Raises DeviceError with what to plug in, permit or install."""
        self.close()
        device, listening = open_bus(self._bus)
        self._connection = BusConnection(self._bus, device, clock, listening, self._mark)

    def read(self) -> FrameBatch:
        """The frames of the next 50 ms or so. Raises DeviceError if the adapter is gone or bus-off."""
        return self._connected().read()

    def close(self) -> None:
        """Let go of the adapter; harmless twice."""
        connection, self._connection = self._connection, None
        if connection is not None:
            try:
                self._health = connection.health()
            finally:
                connection.close()

    def health(self) -> Health:
        """Of this connection, or of the last one."""
        connection = self._connection
        return connection.health() if connection is not None else self._health

    def send(self, identifier: int, data: bytes, permit: SendPermit, *, extended: bool = False) -> int:
        """Send one frame of an OBD request and say when, in event time.

        Raises DeviceError, and sends nothing, on a listen-only bus, without a permit for this bus,
        for any other frame, and where the adapter does not take it.
        """
        permit_requests(self._bus, isinstance(permit, SendPermit))
        if permit.bus != self.name:
            raise DeviceError(f'Leave to send on the bus "{permit.bus}" does not hold for the bus "{self.name}".')
        refuse_frame(self.name, identifier, data, extended=extended)
        connection = self._connected()
        message = can.Message(arbitration_id=identifier, is_extended_id=extended, data=data, channel=self._mark)
        sent_ns = connection.clock.now_ns()
        try:
            connection.device.send(message, timeout=SEND_TIMEOUT_S)
        except (can.CanError, OSError, ValueError) as error:
            raise not_sent(self._bus, error) from error
        connection.note_sent(sent_ns, message)
        return sent_ns

    def tune(self, bitrate: int, clock: Clock) -> None:
        """Open at another bit rate, without letting go of the port where that can be had. Raises DeviceError."""
        self._bus = replace(self._bus, bitrate=bitrate)
        connection = self._connection
        if connection is None or self._bus.interface != "slcan":
            self.close()
            if self._bus.interface == "socketcan":
                set_link_rate(self._bus, bitrate)
            self.open(clock)
            return
        told, device = driver_arguments(self._bus), connection.device
        try:
            set_slcan_rate(device, told)
        except (can.CanError, OSError) as error:
            raise gone(self._bus, error) from error
        self._connection = BusConnection(self._bus, device, clock, connection.health().listening, self._mark)

    def _connected(self) -> BusConnection:
        if self._connection is None:
            raise gone(self._bus, None)
        return self._connection
