"""Which bus of the bench file a recording's channel belongs to."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.bench.model import NO_BENCH, Bench
from busprobe.errors import BenchError


def bus_names(channels: Sequence[str], bench: Bench) -> tuple[str, ...]:
    """The bus of each channel: of equal name, else by `recorded_as`, else the only one of each.

    Without a bench file each channel is its own bus. Raises BenchError, which lists both sides,
    where a channel matches none.
    """
    if bench is NO_BENCH:
        return tuple(channels)
    names = {bus.name for bus in bench.buses}
    recorded = {channel: bus.name for bus in bench.buses for channel in bus.recorded_as}
    found = [channel if channel in names else recorded.get(channel) for channel in channels]
    if None in found and len(channels) == len(bench.buses) == 1:
        return (bench.buses[0].name,)
    out = [bus for bus in found if bus is not None]
    if len(out) < len(channels):
        lost = channels[found.index(None)]
        ours = ", ".join(f'"{b.name}"' for b in bench.buses) or "none"
        theirs = ", ".join(f'"{c}"' for c in channels)
        raise BenchError(
            f'Channel "{lost}" of the recording matches no bus. Channels recorded: {theirs}. Buses here: {ours}.',
            path=bench.path,
            hint=f'Add recorded_as = ["{lost}"] to the [[bus]] that it is.',
        )
    return tuple(out)
