"""Adapters and serial ports as lines of text, with what to do next."""

from __future__ import annotations

from busprobe.report.table import Column, heading, paragraph, table
from busprobe.sources.adapters import Adapters
from busprobe.sources.listening import Way, listening_of
from busprobe.sources.network_link import Link

_WIDE = 60
NONE_FOUND = (
    "Nothing was found. Plug the adapter in and run this again: on Linux an adapter shows up as a network interface "
    "or as a serial port, on Windows as a COM port or through the driver library of its maker. Some need one of the "
    "lines above first."
)
PORT_NOTE = 'An adapter that speaks slcan is one of these: interface = "slcan", channel = the port. So are input boxes.'
NO_HARDWARE = (
    'Without any hardware: interface = "udp_multicast" (programs on this machine, such as "busprobe simulate") '
    'and "virtual" (one program).'
)


def adapters_lines(adapters: Adapters) -> list[str]:
    """What is there, what others need, and what to do next."""
    lines = [*_adapter_table(adapters), *_port_table(adapters), *_need_table(adapters)]
    if adapters.slow:
        lines += ["", *paragraph(f"No answer yet from: {', '.join(adapters.slow)}. Give more time with --wait 10.")]
    lines += ["", *paragraph(_next(adapters)), *paragraph(NO_HARDWARE)]
    return lines[1:]


def _adapter_table(adapters: Adapters) -> list[str]:
    rows = [_link_row(link) for link in adapters.links]
    rows += [(found.interface, found.channel, found.about, _listens(found.interface)) for found in adapters.found]
    columns = (Column("interface"), Column("channel"), Column("state", wrap=52), Column("listen-only", wrap=30))
    return [*heading("Adapters"), *table(columns, rows)] if rows else []


def _port_table(adapters: Adapters) -> list[str]:
    if not adapters.ports:
        return []
    rows = [(port.device, port.description, port.trouble or "allowed") for port in adapters.ports]
    columns = (Column("port"), Column("description", wrap=40), Column("access", wrap=_WIDE))
    return [*heading("Serial ports"), *table(columns, rows), "", *paragraph(PORT_NOTE)]


def _need_table(adapters: Adapters) -> list[str]:
    rows = [(", ".join(names), need) for need, names in adapters.lacking]
    columns = (Column("interface", wrap=30), Column("needs", wrap=_WIDE))
    return [*heading("Other adapters"), *table(columns, rows)] if rows else []


def _link_row(link: Link) -> tuple[str, str, str, str]:
    if not link.is_up:
        rate = "" if link.is_virtual else " with the bit rate of the bus"
        state = f'down: run "{link.up_command(None, listen_only=True)}"{rate}'
        return "socketcan", link.name, state, _listens("socketcan")
    rate = f", {link.bitrate} bit/s" if link.bitrate else ""
    state = f"up{rate}" + (f", {link.state}" if link.state else "")
    if link.is_virtual:
        return "socketcan", link.name, state, str(Way.NO_WIRE.value)
    return "socketcan", link.name, state, "yes, set outside" if link.listen_only else "no, set outside"


def _listens(interface: str) -> str:
    return str(listening_of(interface).way.value)


def _next(adapters: Adapters) -> str:
    if adapters.is_empty:
        return NONE_FOUND
    return (
        'Next: write "interface", "channel" and "bitrate" into a [[bus]] of the bench file; '
        f'"busprobe listen-rate {_example(adapters)}" finds the bit rate of a bus by listening.'
    )


def _example(adapters: Adapters) -> str:
    named = [
        *(("socketcan", link.name) for link in adapters.links),
        *((found.interface, found.channel) for found in adapters.found if found.channel),
        *(("slcan", port.device) for port in adapters.ports if port.description),
    ]
    return ":".join(named[0]) if named else "ADAPTER"
