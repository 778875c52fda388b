"""Opening a serial port, with an error that says what to plug in, permit or close."""

from __future__ import annotations

import errno
import sys
from collections.abc import Callable
from typing import Any

from busprobe.errors import DeviceError
from busprobe.sources.box_options import SerialSettings
from busprobe.sources.port_list import port_error
from busprobe.sources.ports import VAN_PREFIX, device_path

Port = Any
"""An open `serial.Serial`, or what stands in for it in tests."""
OpenPort = Callable[[str, SerialSettings, float], Port]
"""Opens a port: name of the box, settings, time-out of a read in s."""


def open_port(box: str, settings: SerialSettings, timeout_s: float) -> Port:
    """The port, for this process alone. Raises DeviceError."""
    import serial

    try:
        return serial.Serial(
            device_path(settings.port),
            settings.baudrate,
            parity=settings.parity,
            stopbits=settings.stopbits,
            timeout=timeout_s,
            write_timeout=1.0,
            exclusive=None if sys.platform == "win32" else True,
        )
    except _port_errors() as error:
        raise open_error(box, settings, error) from error


def _port_errors() -> tuple[type[Exception], ...]:
    """What pyserial raises or lets through; on POSIX that of the terminal settings, no OSError, too."""
    if sys.platform == "win32":
        return OSError, ValueError
    import termios

    return OSError, ValueError, termios.error


def open_error(box: str, settings: SerialSettings, error: Exception) -> DeviceError:
    """Why a port does not open, from what pyserial raised or let through."""
    owner, port = f'Input box "{box}"', settings.port
    if not isinstance(error, OSError):
        return DeviceError(
            f'{owner}: the serial port "{port}" does not take these settings: {settings}.',
            hint='Change "baudrate", "parity" or "stopbits" in the bench file.',
        )
    if error.errno == errno.ENOENT and port.startswith(VAN_PREFIX):
        return DeviceError(
            f'{owner}: there is no port "{port}" of the simulated van.', hint='Run "busprobe simulate" beside this.'
        )
    if "configure port" in str(error):
        return DeviceError(
            f'{owner}: "{port}" is no serial port, or nothing is connected to it.',
            hint='"busprobe adapters" describes every port.',
        )
    if error.errno == errno.EAGAIN:
        # The lock that pyserial takes is held by another program.
        error = OSError(errno.EBUSY, str(error))
    return port_error(owner, port, error)


def gone(box: str, port: str) -> DeviceError:
    """The device behind an open port is not there any more."""
    return DeviceError(
        f'The input box "{box}" on "{port}" is gone: it was unplugged, or its port was closed.',
        hint="Plug it in again; it is then opened anew.",
    )
