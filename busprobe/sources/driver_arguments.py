"""What python-can is told when a bus is opened."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import can

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.sources.bus_options import bus_error as _error
from busprobe.sources.bus_options import refuse_unknown_interface
from busprobe.sources.drivers import driver_of
from busprobe.sources.listening import listening_options

SLCAN_RATES = (10_000, 20_000, 50_000, 83_300, 100_000, 125_000, 250_000, 500_000, 750_000, 1_000_000)
"""Bit rates that have a command of their own (S0 to S9); others are set by bit timing registers."""
SLCAN_CLOCK_HZ = 8_000_000
"""Clock that the timing registers of slcan count (SJA1000 at 16 MHz)."""
SAMPLE_POINT = 80.0
"""Per cent of the bit; CiA 601-3 wants about 80 % for classic CAN (from memory)."""
UDP_PORT = 43113
"""That udp_multicast uses where the bench file says nothing; python-can's default."""

RATE_NAMES: dict[str, dict[int, int]] = {
    "kvaser": {62_500: 62_000, 83_333: 83_000},
    "pcan": {33_333: 33_000, 47_619: 47_000, 83_333: 83_000, 95_238: 95_000},
    "slcan": {83_333: 83_300},
}
"""Bit rates that a driver knows under a rounded number."""
PCAN_RATES = (
    5_000, 10_000, 20_000, 33_000, 47_000, 50_000, 83_000, 95_000, 100_000, 125_000, 250_000, 500_000, 800_000,
    1_000_000,
)  # fmt: skip
"""Its driver takes 500 kbit/s, without a word, for any other."""

DEFAULTS: dict[str, dict[str, Any]] = {
    # These two ignore the time-out of a read and wait this long on the port instead.
    "seeedstudio": {"timeout": 0.01},
    "serial": {"timeout": 0.01},
    # Frames of a bench stay on this machine.
    "udp_multicast": {"hop_limit": 0},
}
"""Options where the bench file says nothing."""
_RATE_OPTIONS = ("timing", "btr", "f_clock", "f_clock_mhz")
_TIMING = {"f_clock", "brp", "tseg1", "tseg2", "sjw"}
_TIMING_FD = {"f_clock"} | {f"{part}_{k}" for part in ("nom", "data") for k in ("brp", "tseg1", "tseg2", "sjw")}


def driver_arguments(bus: Bus) -> dict[str, Any]:
    """Arguments of `can.Bus`. Raises DeviceError where the bench file lacks or contradicts something."""
    interface = interface_of(bus)
    if driver_of(interface).has_rate and bus.bitrate is None and not any(key in bus.options for key in _RATE_OPTIONS):
        raise _error(
            bus,
            f'Bus "{bus.name}" has no "bitrate", and "{interface}" must be told.',
            f'Write bitrate = 500000, or what "busprobe listen-rate {interface}:{bus.channel or "CHANNEL"}" finds: '
            "an adapter at a wrong bit rate disturbs the bus.",
        )
    arguments: dict[str, Any] = {"interface": interface, "ignore_config": True}
    arguments |= DEFAULTS.get(interface, {})
    arguments |= _with_timing(bus)
    for key, value in listening_options(bus).items():
        if key in bus.options and bus.options[key] != value:
            raise _error(
                bus,
                f'Bus "{bus.name}" is listen-only, which "{key}" = "{bus.options[key]}" contradicts.',
                f'Leave "{key}" out, or write listen_only = false.',
            )
        arguments[key] = value
    if bus.channel is not None:
        arguments["channel"] = bus.channel
    if bus.data_bitrate is not None:
        arguments["data_bitrate"] = bus.data_bitrate
    if bus.bitrate is not None:
        arguments |= _rate(bus, interface, bus.bitrate)
    return arguments


def refuse_clashes(buses: Sequence[Bus]) -> None:
    """Raise DeviceError where two buses would read the same adapter, or hear each other."""
    taken: dict[tuple[str | None, object], Bus] = {}
    for bus in buses:
        if bus.interface == "udp_multicast":
            key, what = (bus.interface, bus.options.get("port", UDP_PORT)), "the same UDP port"
            hint = 'Two buses of udp_multicast hear each other on one port: write another "port" in one of them.'
        elif bus.interface is not None:
            key, what = (bus.interface, bus.channel), "the same adapter"
            hint = 'Each [[bus]] needs a "channel" of its own.'
        else:
            continue
        other = taken.setdefault(key, bus)
        if other is not bus:
            raise _error(bus, f'The buses "{other.name}" and "{bus.name}" use {what}, "{key[1]}".', hint)


def interface_of(bus: Bus) -> str:
    """The interface, one that python-can knows. Raises DeviceError."""
    if bus.interface is None:
        raise _error(
            bus,
            f'Bus "{bus.name}" has no "interface": it can be had from recordings only.',
            'Write "interface" and "channel" in this [[bus]]; "busprobe adapters" lists what is there.',
        )
    refuse_unknown_interface(bus)
    return bus.interface


def _with_timing(bus: Bus) -> dict[str, Any]:
    """The options of the bench file, bit timing numbers put together as python-can wants them."""
    options = dict(bus.options)
    for keys, kind in ((_TIMING, can.BitTiming), (_TIMING_FD, can.BitTimingFd)):
        if keys <= options.keys():
            try:
                timing = kind(**{key: options.pop(key) for key in keys})
            except (ValueError, TypeError) as error:
                raise _error(bus, f'Bus "{bus.name}": the bit timing is not possible: {error}', None) from error
            options["timing"] = timing
    return options


def _rate(bus: Bus, interface: str, bitrate: int) -> dict[str, Any]:
    bitrate = RATE_NAMES.get(interface, {}).get(bitrate, bitrate)
    if interface == "pcan" and "timing" not in bus.options and bitrate not in PCAN_RATES:
        raise rate_error(bus, bitrate) from ValueError(bitrate)
    if interface != "slcan" or bitrate in SLCAN_RATES:
        return {"bitrate": bitrate}
    try:
        return {"timing": slcan_timing(bitrate)}
    except ValueError as error:
        raise rate_error(bus, bitrate) from error


def rate_error(bus: Bus, bitrate: int) -> DeviceError:
    """The adapter does not know a bit rate."""
    return _error(
        bus,
        f'Bus "{bus.name}": "{bus.interface}" cannot be set to {bitrate} bit/s.',
        'The usual rates are 500000, 250000, 125000 and 1000000; "busprobe listen-rate" finds that of a bus.',
    )


def slcan_timing(bitrate: int) -> can.BitTiming:
    """Timing registers for a bit rate without a command of its own. Raises ValueError where there are none."""
    return can.BitTiming.from_sample_point(SLCAN_CLOCK_HZ, bitrate, SAMPLE_POINT)
