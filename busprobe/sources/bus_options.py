"""Interfaces and options of a bus that no driver would take, told before anything is opened."""

from __future__ import annotations

import inspect
from collections.abc import Sequence
from importlib import import_module

import can
from can.interfaces import BACKENDS

from busprobe.bench.model import Bus
from busprobe.bench.section import found
from busprobe.errors import DeviceError, nearest

SWALLOWING = ("slcan", "socketcan", "udp_multicast", "virtual")
"""Interfaces whose drivers take any option without a word; they have read in their own source what
they use: the named arguments of the bus class, and `ALSO`."""
ALSO = {"slcan": ("btr",)}
OWN = ("f_clock", "brp", "tseg1", "tseg2", "sjw")
"""Bit timing, put together here for those that take `timing`."""
_NO_OPTIONS = ("self", "args", "kwargs", "channel", "bitrate", "data_bitrate", "listen_only", "can_filters", "protocol")


def refuse_unknown_options(buses: Sequence[Bus]) -> None:
    """Raise DeviceError for the first interface that nobody knows, and for the first option that would be ignored."""
    for bus in buses:
        if bus.interface is None:
            continue
        refuse_unknown_interface(bus)
        if bus.interface not in SWALLOWING:
            continue
        if bus.interface == "slcan":
            _refuse_port_speed(bus)
        known = _options(bus.interface)
        for key in bus.options:
            if key not in known:
                raise bus_error(
                    bus,
                    f'Bus "{bus.name}": "{bus.interface}" has no option "{key}".{nearest(key, known)}',
                    f"Its options: {', '.join(known)}.",
                )


def _refuse_port_speed(bus: Bus) -> None:
    """The speed of the serial port of an adapter: after an "@" of the channel, or an option."""
    _, at, speed = (bus.channel or "").partition("@")
    if at and not (speed.isdecimal() and int(speed)):
        message = f'Bus "{bus.name}": the speed of the serial port after "@" must be a whole number; found "{speed}".'
        raise bus_error(bus, message, 'Write it like channel = "/dev/ttyACM0@115200", or leave "@" and speed out.')
    option = bus.options.get("tty_baudrate", 1)
    if not isinstance(option, int) or isinstance(option, bool) or option < 1:
        message = f'Bus "{bus.name}": "tty_baudrate" must be a whole number from 1 up; found {found(option)}.'
        raise bus_error(bus, message, "Write it like tty_baudrate = 115200, or leave it out.")


def refuse_unknown_interface(bus: Bus) -> None:
    """Raise DeviceError where python-can has no interface of this name."""
    if bus.interface not in can.VALID_INTERFACES:
        close = nearest(bus.interface or "", can.VALID_INTERFACES)
        raise bus_error(
            bus,
            f'Bus "{bus.name}": unknown interface "{bus.interface}".{close}',
            f"Interfaces: {', '.join(sorted(can.VALID_INTERFACES))}.",
        )


def bus_error(bus: Bus, message: str, hint: str | None) -> DeviceError:
    """An error at the place of a bus in its bench file."""
    return DeviceError(message, path=bus.origin.path, line=bus.origin.line, hint=hint)


def _options(interface: str) -> list[str]:
    """The options of a driver that are its own, by name."""
    module, name = BACKENDS[interface]
    named = inspect.signature(getattr(import_module(module), name).__init__).parameters
    own = OWN if "timing" in named else ()
    return sorted({*named, *ALSO.get(interface, ()), *own} - set(_NO_OPTIONS))
