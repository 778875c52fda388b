"""Opening and closing the python-can bus of one `[[bus]]`."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import can

from busprobe.bench.model import Bus
from busprobe.sources.bus_trouble import OPENING_ERRORS, SERIAL_INTERFACES, checked_link, not_opened, port_name
from busprobe.sources.driver_arguments import driver_arguments
from busprobe.sources.listening import listening_text

_PORTS = ("serialPortOrig", "ser", "_ser")
"""Where drivers of serial adapters keep their port."""


def open_bus(bus: Bus) -> tuple[can.BusABC, str]:
    """The bus, open, and what keeps it from sending. Raises DeviceError."""
    arguments = driver_arguments(bus)
    link = checked_link(bus) if bus.interface == "socketcan" else None
    try:
        if bus.interface in SERIAL_INTERFACES and sys.platform != "win32":
            _try_lock(port_name(bus))
        device = can.Bus(**arguments)
        port = port_of(device)
        if port is not None and sys.platform != "win32":
            port.exclusive = True
    except OPENING_ERRORS as error:
        raise not_opened(bus, error) from error
    return device, listening_text(bus, link)


def set_slcan_rate(device: Any, arguments: Mapping[str, Any]) -> None:
    """Set an open slcan adapter to another bit rate; what it heard at the old one is thrown away.

    arguments: of `driver_arguments`, with "bitrate" or "timing".
    """
    timing = arguments.get("timing")
    if timing is None:
        device.set_bitrate(arguments["bitrate"])
    else:
        device.set_bitrate_reg(f"{timing.btr0:02X}{timing.btr1:02X}")
    device.flush()


def close_bus(device: can.BusABC) -> None:
    """Close a bus, its adapter gone or not.

    Some drivers say farewell to the adapter first, and keep the port where that goes wrong: the
    adapter would come back under another name. They raise anything then.
    """
    with contextlib.suppress(Exception):
        device.shutdown()
    port = port_of(device)
    if port is not None:
        with contextlib.suppress(Exception):
            port.close()


def port_of(device: can.BusABC) -> Any | None:
    """The serial port behind a bus, if there is one: a `serial.Serial`."""
    return next((port for name in _PORTS if (port := getattr(device, name, None)) is not None), None)


def _try_lock(port: str) -> None:
    """Raise OSError where another program holds a serial port.

    It has to be known before the driver opens the port: that alone stops an adapter which the
    other program has running.
    """
    import fcntl

    if not Path(port).exists():
        return
    fd = os.open(port, os.O_RDWR | os.O_NONBLOCK | os.O_NOCTTY)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    finally:
        os.close(fd)
