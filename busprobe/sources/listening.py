"""How each adapter is kept from acknowledging and sending, where that can be had at all.

Listening means more than sending no frames: an adapter in its normal mode acknowledges the
frames of others, and at a wrong bit rate it destroys them. python-can enforces nothing itself;
the table says, for every interface that it knows, what its driver does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType
from typing import Any

import can

from busprobe.bench.model import Bus
from busprobe.sources.network_link import Link


class Way(Enum):
    """Who keeps an adapter from acknowledging."""

    DRIVER = "driver sets it"
    OUTSIDE = "set outside"
    NOT_POSSIBLE = "not possible: the adapter may acknowledge frames"
    NO_WIRE = "no wire: nothing to acknowledge"


@dataclass(frozen=True)
class Listening:
    """What `listen_only = true` means for one interface."""

    way: Way
    options: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    """Passed to the driver."""
    note: str = ""
    """How else it can be had; a sentence."""


def _driver(**options: Any) -> Listening:
    return Listening(Way.DRIVER, MappingProxyType(options))


_NONE = Listening(Way.NOT_POSSIBLE)
_LINUX = Listening(Way.NOT_POSSIBLE, note='On Linux the same adapter works with interface = "socketcan", listen-only.')

LISTENING: Mapping[str, Listening] = MappingProxyType(
    {
        "canalystii": _NONE,
        "cantact": Listening(Way.DRIVER, MappingProxyType({"monitor": True})),
        "etas": _NONE,
        "gs_usb": _LINUX,
        "iscan": _NONE,
        "ixxat": _NONE,
        "kvaser": _driver(driver_mode=False),
        "neousys": _NONE,
        "neovi": _NONE,
        "nican": _NONE,
        "nixnet": _driver(listen_only=True),
        "pcan": _driver(state=can.BusState.PASSIVE),
        "robotell": _NONE,
        "seeedstudio": _driver(operation_mode="silent"),
        "serial": _NONE,
        "slcan": _driver(listen_only=True),
        "socketcan": Listening(Way.OUTSIDE),
        "socketcand": Listening(
            Way.OUTSIDE, note="it cannot be read back from here: look on the machine that serves it."
        ),
        "systec": _driver(state=can.BusState.PASSIVE),
        "udp_multicast": Listening(Way.NO_WIRE),
        "usb2can": _LINUX,
        "vector": _driver(listen_only=True),
        "virtual": Listening(Way.NO_WIRE),
    }
)
"""Read from the drivers of python-can 4.6.1: the arguments of each bus class."""


def listening_of(interface: str) -> Listening:
    """How an interface listens; one that python-can got from another package is trusted with nothing."""
    return LISTENING.get(interface, _NONE)


def listening_options(bus: Bus) -> Mapping[str, Any]:
    """What to pass to the driver of `bus`; nothing where it may send."""
    return listening_of(bus.interface or "").options if bus.listen_only else {}


def listening_text(bus: Bus, link: Link | None = None) -> str:
    """What keeps the adapter of `bus` from sending, for the user.

    link: the network interface as it is now, where the interface is one and could be read.
    """
    listening = listening_of(bus.interface or "")
    if listening.way is Way.NO_WIRE:
        return str(listening.way.value)
    if not bus.listen_only:
        return "listen_only = false: the adapter acknowledges frames; requests only with --allow-requests"
    if listening.way is Way.DRIVER:
        return f"listen-only, {listening.way.value} ({', '.join(listening.options)})"
    if listening.way is Way.OUTSIDE:
        return f"{listening.way.value}: {_outside(bus, link, listening)}"
    return f"{listening.way.value}; busprobe sends nothing. {listening.note}".rstrip()


def _outside(bus: Bus, link: Link | None, listening: Listening) -> str:
    if link is None:
        return listening.note or f'it could not be read back; "ip -details link show {bus.channel}" shows it.'
    if link.is_virtual:
        return f"{link.name} has no wire, nothing to acknowledge"
    if link.listen_only:
        return f"listen-only, read back from {link.name}"
    return (
        f'{link.name} is not listen-only, it acknowledges frames; busprobe sends nothing. To change it: "sudo ip '
        f'link set {link.name} down", then "{link.up_command(bus.bitrate, listen_only=True)}".'
    )
