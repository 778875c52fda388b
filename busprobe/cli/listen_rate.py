"""`busprobe listen-rate`: find the bit rate of a bus by listening."""

from __future__ import annotations

from pathlib import Path

import click

from busprobe.bench.load import load
from busprobe.bench.model import Bus
from busprobe.cli import options
from busprobe.cli.output import print_lines
from busprobe.errors import BenchError, nearest
from busprobe.report.rate_text import heard_line, search_lines
from busprobe.sources.rate_finder import find_rate, refuse_search

NOT_FOUND = 1


@click.command("listen-rate")
@click.argument("adapter")
@options.bench
@click.option(
    "--may-acknowledge",
    is_flag=True,
    help="Go on with an adapter that cannot be kept from acknowledging: at a wrong rate it destroys frames.",
)
def command(adapter: str, bench: Path | None, may_acknowledge: bool) -> int:
    """Find the bit rate of a bus by listening only.

    ADAPTER is interface:channel, or with --bench the name of one of its buses. It is listened
    at 500, 250, 125, 1000, 100, 83.3, 50 and 33.3 kbit/s and some less usual rates.

    \b
    Examples:
      busprobe listen-rate slcan:/dev/ttyACM0
      sudo busprobe listen-rate socketcan:can0
      busprobe listen-rate body --bench dbc_samples/patrol_van.toml

    \b
    Exit status:
      0  found
      1  not found
      3  the adapter, the bench file or the command line could not be used
    """
    bus = _bus_of(adapter) if bench is None else _bus_in(bench, adapter)
    refuse_search(bus, may_acknowledge=may_acknowledge)
    print_lines([f"Listening at {bus.interface}:{bus.channel}; nothing is sent."])
    search = find_rate(bus, may_acknowledge=may_acknowledge, on_heard=lambda heard: print_lines([heard_line(heard)]))
    print_lines(search_lines(search, bus.interface or ""))
    return 0 if search.rate is not None else NOT_FOUND


def _bus_of(adapter: str) -> Bus:
    interface, colon, channel = adapter.partition(":")
    if not (interface and colon and channel):
        raise click.UsageError(
            f'"{adapter}" is no adapter: write interface:channel, such as slcan:/dev/ttyACM0, or give --bench.'
        )
    return Bus(adapter, interface, channel)


def _bus_in(path: Path, name: str) -> Bus:
    buses = {bus.name: bus for bus in load(path).buses}
    if name not in buses:
        there = ", ".join(f'"{known}"' for known in buses)
        raise BenchError(
            f'There is no bus "{name}".{nearest(name, buses)}', path=path, hint=f"Buses there: {there or 'none'}."
        )
    return buses[name]
