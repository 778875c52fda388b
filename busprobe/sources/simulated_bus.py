"""The simulated van's end of a bus. Only interfaces that lead to no vehicle are opened.

udp_multicast   other programs on this machine
virtual         this program only
"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import NamedTuple

import can

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.sources.driver_arguments import driver_arguments

INTERFACES = ("udp_multicast", "virtual")


class HeardFrame(NamedTuple):
    """A frame that somebody else sent."""

    identifier: int
    is_extended: bool
    payload: bytes


class SimulatedBus:
    """Sends the van's frames and hears what others send."""

    def __init__(self, bus: Bus) -> None:
        """Raises DeviceError where the interface could lead to a vehicle."""
        if bus.interface is not None and bus.interface not in INTERFACES:
            raise DeviceError(
                f'The bus "{bus.name}" has the interface "{bus.interface}": the simulated van sends on no real bus.',
                path=bus.origin.path,
                line=bus.origin.line,
                hint='Write interface = "udp_multicast" for it.',
            )
        # A multicast socket hears its own frames: they come back with this mark and are left out.
        self._mark = f"van {os.getpid()}"
        arguments = driver_arguments(replace(bus, listen_only=False))
        try:
            self._bus: can.BusABC = can.Bus(**arguments)
        except (can.CanError, OSError, TypeError, ValueError) as error:
            raise DeviceError(
                f'The bus "{bus.name}" on {bus.interface} did not open: {error}.',
                path=bus.origin.path,
                line=bus.origin.line,
                hint="udp_multicast needs a network interface that is up and has a route for multicast groups."
                if bus.interface == "udp_multicast"
                else None,
            ) from error

    def send(self, identifier: int, payload: bytes) -> None:
        """Send a classic frame, 29-bit where the identifier needs it."""
        message = can.Message(
            arbitration_id=identifier,
            is_extended_id=identifier > 0x7FF,
            data=payload,
            channel=self._mark,
        )
        try:
            self._bus.send(message)
        except (can.CanError, OSError) as error:
            raise DeviceError(f"The simulated bus takes no frames: {error}.") from error

    def receive(self, seconds: float) -> HeardFrame | None:
        """The next frame of somebody else, waited for that long; None also for one of our own."""
        try:
            message = self._bus.recv(max(seconds, 0.0))
        except (can.CanError, OSError) as error:
            raise DeviceError(f"The simulated bus gives no frames: {error}.") from error
        if message is None or message.channel == self._mark or message.is_error_frame or message.is_remote_frame:
            return None
        return HeardFrame(message.arbitration_id, message.is_extended_id, bytes(message.data))

    def close(self) -> None:
        self._bus.shutdown()
