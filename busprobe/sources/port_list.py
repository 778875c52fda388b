"""The serial ports of this machine, and what is wrong with one that does not open."""

from __future__ import annotations

import errno
import os
import sys
from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports

from busprobe.errors import DeviceError, nearest

_ABSENT = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO)
_NOT_ALLOWED = (errno.EACCES, errno.EPERM)


@dataclass(frozen=True)
class Port:
    """A serial port."""

    device: str
    """What to write as `channel` or `port`."""
    description: str
    """What the system says of it; empty where it knows nothing."""
    trouble: str = ""
    """What keeps it from being opened, as far as can be told without opening it."""


def serial_ports() -> tuple[Port, ...]:
    """All serial ports, those with a description first."""
    ports = [
        Port(info.device, "" if info.description == "n/a" else info.description, _access(info.device))
        for info in list_ports.comports()
    ]
    return tuple(sorted(ports, key=lambda port: (not port.description, port.device)))


def port_error(owner: str, port: str, error: OSError) -> DeviceError:
    """Why a port did not open, and what to do.

    owner: who wanted it, such as 'Bus "body"'. error: what pyserial raised.
    """
    number = error.errno
    if number is None and "FileNotFoundError" in str(error):
        number = errno.ENOENT  # pyserial on Windows puts the system's error into the text only
    if number is None and "PermissionError" in str(error):
        number = errno.EBUSY
    if number in _NOT_ALLOWED:
        return DeviceError(f'{owner}: no permission for the serial port "{port}".', hint=permission_hint(port))
    if number in (errno.EBUSY, errno.EAGAIN):
        return DeviceError(
            f'{owner}: the serial port "{port}" is in use by another program.',
            hint="Close that program; one port serves one program.",
        )
    if number in _ABSENT:
        present = [other.device for other in serial_ports()]
        there = ", ".join(f'"{other}"' for other in present)
        return DeviceError(
            f'{owner}: there is no serial port "{port}".{nearest(port, present)}',
            hint=(f"Ports there: {there}. " if present else "No serial port is there. ")
            + 'Plug the adapter in; "busprobe adapters" describes every port.',
        )
    text = str(error).rstrip(".")
    return DeviceError(
        f'{owner}: the serial port "{port}" does not open: {text}.', hint='"busprobe adapters" describes every port.'
    )


def permission_hint(port: str) -> str:
    """How to be allowed to use a port."""
    if sys.platform != "linux":
        return "Close other programs that use it, and allow it in the system's settings."
    group = _group(port)
    return f'Run "sudo usermod -a -G {group} $USER", log out and in again.'


def _access(port: str) -> str:
    if sys.platform == "win32" or os.access(port, os.R_OK | os.W_OK):
        return ""
    return f"no permission. {permission_hint(port)}"


def _group(port: str) -> str:
    """The group that may use a port; "dialout" where the system does not say."""
    try:
        return Path(port).group()
    except (OSError, KeyError, NotImplementedError):
        return "dialout"
