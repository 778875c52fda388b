"""Adapters that this machine has, as the start page lists them."""

from __future__ import annotations

from busprobe.tui.view.start import Adapter


def adapters() -> list[Adapter]:
    """CAN links of the system, adapters that their drivers found, serial ports; takes up to two seconds."""
    from busprobe.sources.adapters import find_adapters  # slow to import: it loads python-can

    there = find_adapters()
    links = [
        Adapter(
            link.name, 'CAN link of this machine, interface = "socketcan"', "" if link.is_up else "the link is down."
        )
        for link in there.links
    ]
    found = [Adapter(f"{one.interface} {one.channel}", one.about) for one in there.found]
    ports = [Adapter(port.device, port.description or "serial port", port.trouble) for port in there.ports]
    return [*links, *found, *ports]
