"""What a bench file or databases say of the channels of a recording: names, bit rates, wanted signals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from busprobe.analysis.presence import WantedTap
from busprobe.analysis.survey_result import BitRate, SurveyResult
from busprobe.bench.model import Bench, InputBox, Signal, Tap
from busprobe.decode.database import load as load_database
from busprobe.decode.layout import Database
from busprobe.engine.mapping import bus_names
from busprobe.engine.signal_plan import MessageTap, ObdTap, SignalPlan, Source, plan_signal
from busprobe.errors import BenchError, Problems
from busprobe.session.enclosed import enclosed_plan
from busprobe.session.verifying import load_checked, load_databases


@dataclass(frozen=True)
class Described:
    """A bench file joined with its databases, or databases alone, or nothing."""

    bench: Bench | None
    by_bus: Mapping[str, Sequence[Database]]
    everywhere: Sequence[Database]
    """Databases for every channel."""
    signals: Sequence[tuple[Signal, SignalPlan]]
    bit_rate: int | None

    @property
    def vehicle(self) -> str:
        return self.bench.vehicle if self.bench else ""

    @property
    def boxes(self) -> Sequence[InputBox]:
        return self.bench.boxes if self.bench else ()

    @property
    def all_databases(self) -> Sequence[Database]:
        """Every database, each once."""
        every = [*self.everywhere, *(d for some in self.by_bus.values() for d in some)]
        return list({id(database): database for database in every}.values())

    @property
    def has_databases(self) -> bool:
        return bool(self.all_databases)

    def on(self, channels: Sequence[str]) -> DescribedChannels:
        """The same for the channels of a recording. Raises BenchError where one matches no bus."""
        buses = bus_names(channels, self.bench) if self.bench else channels
        return DescribedChannels(self, dict(zip(channels, buses, strict=True)))


@dataclass(frozen=True)
class DescribedChannels:
    """A description applied to the channels of one recording."""

    described: Described
    bus_of: Mapping[str, str]
    """Channel -> bus of the bench file; the channel itself without one."""

    def name_of(self, channel: str, identifier: int, extended: bool) -> str | None:
        """Name of the message, by the first database that has one."""
        for database in (*self.described.by_bus.get(self.bus_of[channel], ()), *self.described.everywhere):
            message = database.find(identifier, extended)
            if message is not None:
                return message.name
        return None

    @property
    def bit_rates(self) -> Mapping[str, BitRate]:
        """Bit rates by channel, of those where they are known."""
        rates = {}
        buses = {bus.name: bus for bus in self.described.bench.buses} if self.described.bench else {}
        for channel, name in self.bus_of.items():
            bus = buses.get(name)
            nominal = bus.bitrate if bus is not None and bus.bitrate is not None else self.described.bit_rate
            if nominal is not None:
                rates[channel] = BitRate(nominal, bus.data_bitrate if bus is not None else None)
        return rates

    def wanted(self, found: SurveyResult) -> list[WantedTap]:
        """Every place that a signal of the bench file comes from, as this recording names it."""
        return [
            self._wanted(signal, tap, source, found)
            for signal, plan in self.described.signals
            for tap, source in zip(signal.taps, plan.sources, strict=True)
        ]

    def _wanted(self, signal: Signal, tap: Tap, source: Source, found: SurveyResult) -> WantedTap:
        place = source.tap
        if isinstance(place, MessageTap):
            message = place.message
            key = (message.identifier, message.is_extended)
            on = {one.channel for one in found.identifiers if (one.identifier, one.extended) == key}
            channel = self._channel(place.bus, on)
            bits = () if place.layout.multiplexer else place.layout.bits.places
            return WantedTap(signal.name, tap, channel, *key, signal.max_age_ns, message.cycle_time_ns, bits)
        if isinstance(place, ObdTap):
            bench = self.described.bench
            every = bench.obd.every_ns if bench is not None and bench.obd is not None else None
            return WantedTap(
                signal.name, tap, self._channel(place.bus, set()), max_age_ns=signal.max_age_ns, cycle_ns=every
            )
        return WantedTap(signal.name, tap, max_age_ns=signal.max_age_ns)

    def _channel(self, bus: str, on: set[str]) -> str | None:
        """A channel of the bus, one of `on` before the others."""
        mine = [channel for channel, name in self.bus_of.items() if name == bus]
        return next((channel for channel in mine if channel in on), mine[0] if mine else None)


def describe(bench: Path | None, databases: Sequence[Path], bit_rate: int | None) -> Described:
    """Read what describes a recording. Raises BusprobeError where a file cannot be used."""
    everywhere = [load_database(path) for path in databases]
    if bench is None:
        return Described(None, {}, everywhere, (), bit_rate)
    loaded = load_checked(bench)
    by_bus = load_databases(loaded)
    signals = [(signal, plan_signal(signal, loaded, by_bus)) for signal in loaded.signals]
    return Described(loaded, by_bus, everywhere, signals, bit_rate)


def describe_enclosed(texts: Mapping[str, str], bit_rate: int | None, problems: Problems) -> Described | None:
    """The same by the bench file that a recording holds; None where it holds none that can be used."""
    try:
        enclosed = enclosed_plan(texts, problems)
    except BenchError:
        return None
    if enclosed is None:
        return None
    plan, by_bus = enclosed
    signals = [(s, plan.signals[s.name]) for s in plan.bench.signals if s.name in plan.signals]
    return Described(plan.bench, by_bus, (), signals, bit_rate)
