"""Adapters that this machine has: serial ports and CAN network links."""

from __future__ import annotations

from pathlib import Path

from busprobe.sources.port_list import serial_ports
from busprobe.tui.view.start import Adapter

NETWORK = Path("/sys/class/net")
CAN_LINK = "280"
"""ARPHRD_CAN of Linux's if_arp.h: the type of a network link that is a CAN bus."""


def adapters(network: Path = NETWORK) -> list[Adapter]:
    """CAN links first, then serial ports."""
    return [
        *_can_links(network),
        *(Adapter(p.device, p.description or "serial port", p.trouble) for p in serial_ports()),
    ]


def _can_links(network: Path) -> list[Adapter]:
    found = []
    for link in sorted(network.glob("*/type")):
        try:
            if link.read_text(encoding="ascii").strip() == CAN_LINK:
                found.append(Adapter(link.parent.name, 'CAN link of this machine: interface = "socketcan"'))
        except OSError:
            continue
    return found
