"""What is known of each interface of python-can: whose clock stamps its frames, and what it needs."""

from __future__ import annotations

import logging
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from importlib.util import find_spec
from pathlib import Path
from types import MappingProxyType

# What python-can logs is for programmers; what a user needs is in our own errors.
logging.getLogger("can").addHandler(logging.NullHandler())


class StampedBy(Enum):
    """Whose clock the stamps of an interface come from."""

    SYSTEM = "the system, as the frame comes in"
    READER = "busprobe, as it reads the frame"
    ADAPTER = "the adapter"


UNCERTAINTY_NS: Mapping[StampedBy, int] = MappingProxyType(
    {StampedBy.SYSTEM: 1_000_000, StampedBy.READER: 20_000_000, StampedBy.ADAPTER: 2_000_000}
)
"""How exact stamps are at best: USB gathers frames for 1 ms, a scheduler takes about as long,
two oscillators drift apart by 1 ms in the time over which they are compared (common practice,
no source). A frame that is stamped as it is read is late by as much as its reader was held up:
measured beside a busy machine, 99.9 of 100 frames by less than 14 ms; more than what is stated
here is marked as a gap."""
READER_WAIT_S = 0.005
"""A frame that is stamped as it is read comes out of a read that waited no longer than this."""


@dataclass(frozen=True)
class Driver:
    """One interface of python-can."""

    stamped_by: StampedBy
    module: str = ""
    """Python package that must be there."""
    install: str = ""
    """What `pip install` must be told to get it."""
    from_maker: bool = False
    """Needs the driver that the adapter's maker gives."""
    systems: tuple[str, ...] = ()
    """`sys.platform` where it works; none: everywhere."""
    has_rate: bool = True
    """Takes the bit rate from us."""


_WINDOWS = ("win32",)
_ADAPTER, _READER, _SYSTEM = StampedBy.ADAPTER, StampedBy.READER, StampedBy.SYSTEM

DRIVERS: Mapping[str, Driver] = MappingProxyType(
    {
        "canalystii": Driver(_ADAPTER, "canalystii", "python-can[canalystii]"),
        "cantact": Driver(_ADAPTER, "cantact", "python-can[cantact]"),
        "etas": Driver(_ADAPTER, from_maker=True, systems=_WINDOWS),
        "gs_usb": Driver(_ADAPTER, "gs_usb", "python-can[gs-usb]"),
        "iscan": Driver(_READER, from_maker=True, systems=_WINDOWS),
        "ixxat": Driver(_ADAPTER, from_maker=True, systems=_WINDOWS),
        "kvaser": Driver(_ADAPTER, from_maker=True, systems=("linux", "win32")),
        "neousys": Driver(_READER, from_maker=True, systems=("linux", "win32")),
        "neovi": Driver(_ADAPTER, "ics", "python-can[neovi]"),
        "nican": Driver(_ADAPTER, from_maker=True, systems=_WINDOWS),
        "nixnet": Driver(_ADAPTER, "nixnet", "python-can[nixnet]", from_maker=True, systems=_WINDOWS),
        "pcan": Driver(_ADAPTER, from_maker=True),
        "robotell": Driver(_READER, "serial", "pyserial"),
        "seeedstudio": Driver(_READER, "serial", "pyserial"),
        "serial": Driver(_ADAPTER, "serial", "pyserial", has_rate=False),
        "slcan": Driver(_READER, "serial", "pyserial"),
        "socketcan": Driver(_SYSTEM, systems=("linux",), has_rate=False),
        "socketcand": Driver(_ADAPTER, has_rate=False),
        "systec": Driver(_ADAPTER, from_maker=True, systems=_WINDOWS),
        # Elsewhere the kernel stamps no datagrams.
        "udp_multicast": Driver(
            _SYSTEM if sys.platform == "linux" else _READER, "msgpack", "python-can[multicast]", has_rate=False
        ),
        "usb2can": Driver(_ADAPTER, "win32com", "python-can[pywin32]", from_maker=True, systems=_WINDOWS),
        "vector": Driver(_ADAPTER, from_maker=True, systems=_WINDOWS),
        "virtual": Driver(_SYSTEM, has_rate=False),
    }
)
"""Read from the drivers of python-can 4.6.1 and the extras that its package declares."""

NO_ERROR_FRAMES = frozenset(
    ("canalystii", "cantact", "iscan", "ixxat", "neousys", "robotell", "seeedstudio", "slcan", "systec")
)
"""Whose drivers pass no error frames on: at a wrong bit rate they are silent."""

UNKNOWN = Driver(StampedBy.ADAPTER)
"""An interface that python-can got from another package."""

_SYSTEM_NAMES = {"win32": "Windows", "linux": "Linux", "darwin": "macOS"}
USB_SERIAL = Path("/sys/bus/usb-serial/devices")
"""Linux tells here how long a USB serial chip gathers bytes before it sends them on."""


def driver_of(interface: str) -> Driver:
    return DRIVERS.get(interface, UNKNOWN)


def needs(interface: str) -> str:
    """What is missing before `interface` can work here, a sentence; empty where nothing is known to be."""
    driver = driver_of(interface)
    if driver.systems and sys.platform not in driver.systems:
        names = " and ".join(_SYSTEM_NAMES[name] for name in driver.systems)
        here = _SYSTEM_NAMES.get(sys.platform, sys.platform)
        return f"It works on {names} only, this is {here}."
    if driver.module and find_spec(driver.module) is None:
        return f'Install its Python package: pip install "{driver.install}".'
    if driver.from_maker:
        return "Install the driver library of the adapter's maker; then plug the adapter in."
    return ""


def uncertainty_ns(interface: str, channel: str, usb_serial: Path = USB_SERIAL) -> int:
    """How exactly frames of an adapter are stamped, as far as that is known beforehand."""
    stamped_by = driver_of(interface).stamped_by
    if stamped_by is not StampedBy.READER:
        return UNCERTAINTY_NS[stamped_by]
    timer = usb_serial / Path(channel.partition("@")[0]).name / "latency_timer"
    try:
        gathered_ms = int(timer.read_text("ascii"))
    except (OSError, ValueError):
        gathered_ms = 0
    return UNCERTAINTY_NS[stamped_by] + gathered_ms * 1_000_000
