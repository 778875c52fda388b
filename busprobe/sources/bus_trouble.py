"""What goes wrong with a bus adapter, said so that the user knows what to plug, permit or install."""

from __future__ import annotations

import errno
import struct
import sys

import can
import serial

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError, counted
from busprobe.sources.drivers import needs
from busprobe.sources.network_link import Link, can_links, missing_link, read_link, set_bitrate
from busprobe.sources.port_list import port_error


def _terminal_errors() -> tuple[type[Exception], ...]:
    """What pyserial lets through where a file is no terminal."""
    if sys.platform == "win32":
        return ()
    import termios

    return (termios.error,)


SERIAL_INTERFACES = ("robotell", "seeedstudio", "serial", "slcan")
"""Whose `channel` is a serial port."""
OPENING_ERRORS: tuple[type[Exception], ...] = (
    can.CanError, OSError, ImportError, ValueError, TypeError, LookupError, AttributeError, NameError,
    NotImplementedError, AssertionError, serial.SerialException, *_terminal_errors(),
)  # fmt: skip
"""What drivers raise where something is missing: a driver whose library is not there stumbles over names."""
UNREADABLE = (ValueError, TypeError, LookupError, AttributeError, AssertionError)
"""What drivers raise over bytes that are no frame."""
DAMAGED: tuple[type[Exception], ...] = (can.CanError, ArithmeticError, struct.error, *UNREADABLE)
"""What is raised where a datagram is taken apart that is no frame."""


def port_name(bus: Bus) -> str:
    """The serial port of a bus; slcan takes the port's speed after an "@"."""
    return (bus.channel or "").partition("@")[0]


def not_opened(bus: Bus, error: BaseException) -> DeviceError:
    """An adapter did not open."""
    system = system_error(error)
    interface = bus.interface or ""
    if interface in SERIAL_INTERFACES and system is not None:
        return _placed(bus, port_error(f'Bus "{bus.name}"', port_name(bus), system))
    if interface == "socketcan" and system is not None and system.errno == errno.EAFNOSUPPORT:
        return _error(
            bus, "this kernel has no CAN sockets.", 'Run "sudo modprobe can can_raw", then plug the adapter in.'
        )
    hint = needs(interface)
    if not hint and interface == "udp_multicast":
        hint = "It needs a network interface that is up and takes multicast groups; the channel is such a group."
    if not hint:
        hint = 'Look at "channel" and the options of this [[bus]]; "busprobe adapters" lists what is there.'
    return _error(bus, f'"{interface}" does not open: {_said(error)}.', hint)


def gone(bus: Bus, error: BaseException | None) -> DeviceError:
    """An adapter that had been open is not there any more. error: None where nothing was raised."""
    system = system_error(error) if error is not None else None
    if bus.interface == "socketcan" and system is not None and system.errno == errno.ENETDOWN:
        link = read_link(bus.channel or "") or Link(bus.channel or "", is_up=False)
        return link_down(bus, link)
    # What pyserial says of its own accord, and not the system, is for programmers.
    is_told = error is not None and not (isinstance(system, serial.SerialException) and not system.strerror)
    said = f": {_said(error)}" if error is not None and is_told else ""
    return _error(
        bus,
        f'the adapter at "{bus.channel}" is gone{said}.',
        "Plug it in again and look at its power; busprobe goes on with it by itself.",
    )


def not_sent(bus: Bus, error: BaseException) -> DeviceError:
    """The adapter did not take a frame."""
    return _error(
        bus,
        f"the frame was not sent: {_said(error)}.",
        "Look at the wires and the bit rate: a frame that nobody acknowledges is never done.",
    )


def bus_off(bus: Bus) -> DeviceError:
    """The adapter has taken itself off the bus."""
    again = f'"sudo ip link set {bus.channel} type can restart"' if bus.interface == "socketcan" else "opening it again"
    return _error(
        bus,
        "the adapter is bus-off: it met too many errors and has left the bus.",
        "Look at the bit rate, at the wires CAN high and CAN low, and for 60 Ω between them; "
        f"then {again} brings it back.",
    )


def unreadable(bus: Bus, count: int) -> DeviceError:
    """Nothing that came was a frame."""
    serial = bus.interface in SERIAL_INTERFACES
    return _error(
        bus,
        f'what comes from "{bus.channel}" is not {bus.interface}: {counted(count, "unreadable piece")}, no frame.',
        'Look whether it is the right port, and whether the adapter wants another serial speed ("tty_baudrate").'
        if serial
        else "Look whether it is the right channel; something else may be sending there.",
    )


def link_down(bus: Bus, link: Link) -> DeviceError:
    return _error(
        bus,
        f'the network interface "{link.name}" is down.',
        f'Run "{link.up_command(bus.bitrate, listen_only=bus.listen_only)}".',
    )


def present_link(bus: Bus) -> Link | None:
    """The network interface of a socketcan bus, None where it cannot be read. Raises DeviceError if it is not there."""
    name = bus.channel or ""
    present = can_links()
    if name not in present:
        raise _placed(bus, missing_link(bus.name, name, present))
    return read_link(name)


def set_link_rate(bus: Bus, bitrate: int) -> None:
    """Set the network interface of a socketcan bus to a bit rate, listen-only. Raises DeviceError."""
    link = present_link(bus)
    if link is not None and link.is_virtual:
        raise no_rate(link.name)
    set_bitrate(bus.channel or "", bitrate)


def no_rate(name: str) -> DeviceError:
    """An interface or adapter with nothing to find out."""
    return DeviceError(f'"{name}" has no bit rate: there is no wire.')


def checked_link(bus: Bus) -> Link | None:
    """The network interface of a socketcan bus, None where it cannot be read.

    Raises DeviceError where it is not there, down, bus-off, or runs at another bit rate.
    """
    name = bus.channel or ""
    link = present_link(bus)
    if link is None:
        return None
    if not link.is_up:
        raise link_down(bus, link)
    if link.state == "BUS-OFF":
        raise bus_off(bus)
    if bus.bitrate is not None and link.bitrate is not None and bus.bitrate != link.bitrate:
        raise _error(
            bus,
            f"{name} runs at {link.bitrate} bit/s, the bench file says {bus.bitrate}.",
            f'Correct "bitrate", or run "sudo ip link set {name} down" and '
            f'"{link.up_command(bus.bitrate, listen_only=bus.listen_only)}".',
        )
    return link


def system_error(error: BaseException | None) -> OSError | None:
    """The operating system's error behind what a driver raised."""
    while error is not None:
        if isinstance(error, OSError) and not isinstance(error, can.CanError):
            return error
        error = error.__cause__
    return None


def _said(error: BaseException) -> str:
    """What the system or, where it had no part in it, the driver says; without a full stop."""
    system = system_error(error)
    text = (system.strerror or str(system)) if system is not None else str(error)
    return text.strip().rstrip(".") or type(error).__name__


def _error(bus: Bus, message: str, hint: str) -> DeviceError:
    return _placed(bus, DeviceError(f'Bus "{bus.name}": {message}', hint=hint))


def _placed(bus: Bus, error: DeviceError) -> DeviceError:
    return DeviceError(error.message, path=bus.origin.path, line=bus.origin.line, hint=error.hint)
