"""Which bus adapters and serial ports there are, and what is missing for others."""

from __future__ import annotations

import logging
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import can

from busprobe.sources.bus_trouble import OPENING_ERRORS
from busprobe.sources.drivers import DRIVERS, driver_of, needs
from busprobe.sources.network_link import Link, can_links, read_link
from busprobe.sources.port_list import Port, serial_ports

NOT_ASKED = ("serial", "socketcan", "udp_multicast", "virtual")
"""Ports and network interfaces are listed as such; the other two are always there."""
BEACON_S = 3.2
"""A socketcand daemon announces itself every 3 s: it is listened for only where there is time for it."""
WAIT_S = 1.5
"""A driver that has not answered by then is left out."""


@dataclass(frozen=True)
class Found:
    """An adapter that its driver found."""

    interface: str
    channel: str
    """Empty where the adapter is named by its serial number instead."""
    about: str = ""
    """Its name and serial number as far as the driver knows them."""


@dataclass(frozen=True)
class Adapters:
    """All that was found, and what was not asked or did not answer."""

    found: tuple[Found, ...] = ()
    links: tuple[Link, ...] = ()
    ports: tuple[Port, ...] = ()
    slow: tuple[str, ...] = ()
    """Interfaces whose drivers had not answered in time."""
    lacking: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """(what has to be done, interfaces for which it has to be)."""

    @property
    def is_empty(self) -> bool:
        """Ports that the system knows nothing of are built in, whether or not anything is wired to them."""
        return not (self.found or self.links or any(port.description for port in self.ports))


def find_adapters(wait_s: float = WAIT_S) -> Adapters:
    """Ask every driver of python-can, all at once, and list ports and network interfaces."""
    left_out = NOT_ASKED if wait_s > BEACON_S else (*NOT_ASKED, "socketcand")
    asked = [_Asked(name) for name in sorted(can.VALID_INTERFACES) if name not in left_out and _is_for_here(name)]
    links = tuple(read_link(name) or Link(name, is_up=False) for name in can_links())
    ports = serial_ports()
    deadline = time.monotonic() + wait_s
    for one in asked:
        one.join(max(0.0, deadline - time.monotonic()))
    slow = tuple(one.interface for one in asked if one.is_alive())
    found = tuple(adapter for one in asked if not one.is_alive() for adapter in one.found)
    there = {adapter.interface for adapter in found}
    return Adapters(found, links, ports, slow, _lacking([name for name in DRIVERS if name not in there]))


class _Asked(threading.Thread):
    """A driver being asked; a daemon, so that one that hangs does not keep the program."""

    def __init__(self, interface: str) -> None:
        super().__init__(name=f"ask {interface}", daemon=True)
        self.interface = interface
        self.found: tuple[Found, ...] = ()
        self.start()

    def run(self) -> None:
        module, name = can.interfaces.BACKENDS[self.interface]
        try:
            configs = getattr(import_module(module), name)._detect_available_configs()
        except OPENING_ERRORS as error:
            # What is missing is told by `lacking`.
            logging.getLogger("can").debug("%s is not there: %s", self.interface, error)
            return
        self.found = tuple(_found(self.interface, config) for config in configs)


_ABOUT = ("device_name", "vector_channel_config", "serial", "device_id", "dongle_channel", "host", "port")
"""What drivers tell beside the channel, the useful part of it."""


def _found(interface: str, config: dict[str, Any]) -> Found:
    told = {key: config[key] for key in _ABOUT if isinstance(config.get(key), str | int)}
    name = told.pop("device_name", "")
    rest = ", ".join(f"{key} {value}" for key, value in told.items())
    return Found(interface, str(config.get("channel", "")), ", ".join(part for part in (str(name), rest) if part))


def _is_for_here(interface: str) -> bool:
    systems = driver_of(interface).systems
    return not systems or sys.platform in systems


def _lacking(interfaces: Sequence[str]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What to do before other interfaces can work, those with the same need together."""
    by_need: dict[str, list[str]] = {}
    for name in sorted(interfaces):
        if need := needs(name):
            by_need.setdefault(need, []).append(name)
    return tuple((need, tuple(names)) for need, names in by_need.items())
