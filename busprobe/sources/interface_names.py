"""Interfaces that a bench file names by a slip of the pen, told without loading any driver."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches
from importlib.metadata import entry_points

from busprobe.bench.model import Bus
from busprobe.bench.section import error_at
from busprobe.sources.drivers import DRIVERS

CLOSE = 0.8
"""How much alike two names are of which one is a slip of the pen for the other."""


def refuse_mistyped_interfaces(buses: Sequence[Bus]) -> None:
    """Raise BenchError for the first interface that is nearly a known one.

    One that is not known at all may belong to a package that this machine lacks: a recording can
    be looked at without it.
    """
    for bus in buses:
        name = bus.interface
        if name is None or name in DRIVERS:
            continue
        close = get_close_matches(name, DRIVERS, n=1, cutoff=CLOSE)
        if close and name not in {entry.name for entry in entry_points(group="can.interface")}:
            message = f'Bus "{bus.name}": unknown interface "{name}". Nearest known name: "{close[0]}".'
            raise error_at(bus.origin, message)
