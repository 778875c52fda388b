"""`vehicle`: VIN, PIDs, codes, readiness and voltage of a live vehicle, or of one in a recording."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from busprobe.analysis.vehicle_changes import compare
from busprobe.bench.load import load
from busprobe.bench.model import Bench, Bus
from busprobe.decode.obd import Listener, Request
from busprobe.errors import BenchError, DeviceError, OpenError, Problems
from busprobe.frames import FrameBatch
from busprobe.report.cautions import caution_lines
from busprobe.report.vehicle_report import VehicleReport
from busprobe.report.vehicle_saved import load_vehicle
from busprobe.session.opening import open_source
from busprobe.session.readout import Readout, Say
from busprobe.session.vehicle_tally import VehicleEar
from busprobe.sources.bus import BusSource
from busprobe.sources.clock import Clock
from busprobe.sources.manners import QUIET_NS, RequestWatch
from busprobe.sources.permit import permit_requests
from busprobe.sources.requests import Requester


def vehicle_live(bench_file: Path, *, allow_requests: bool, say: Say, listen_ns: int = QUIET_NS) -> VehicleReport:
    """Ask the vehicle on the OBD bus of a bench file.

    listen_ns: how long the bus is listened to before anything is asked. Raises BusprobeError where
    nothing may be asked, the adapter is not there, or nobody answers.
    """
    bench = load(bench_file)
    bus = obd_bus(bench)
    permit = permit_requests(bus, allow_requests)
    for line in caution_lines():
        say(line)
    source = BusSource(bus)
    clock = Clock()
    source.open(clock)
    requester = Requester(source, permit, listen_ns, own_thread=True)
    try:
        readout = Readout(requester, say)
        is_over = False
        while not is_over:
            readout.feed(source.read())
            is_over = readout.step(clock.now_ns())
    finally:
        requester.close()
        source.close()
    return report_of(readout, bench, bus, clock.now_ns())


def report_of(readout: Readout, bench: Bench, bus: Bus, now_ns: int) -> VehicleReport:
    """What a readout that is over has found. Raises DeviceError if that is nothing."""
    read = readout.ear.tally.result(bus.name, now_ns)
    tester = readout.tester
    if not read.units and tester is None:
        raise _nobody(bus, is_silent=not readout.frames)
    return VehicleReport(bench.vehicle, "live", read, readout.requests, tuple(readout.shortfalls), tester)


def obd_bus(bench: Bench) -> Bus:
    """The bus of `[obd]`, or the only one. Raises BenchError where that is not clear."""
    name = bench.obd.bus if bench.obd is not None else None
    buses = [bus for bus in bench.buses if name in (None, bus.name)]
    if len(buses) != 1:
        names = ", ".join(f'"{bus.name}"' for bus in buses) or "none"
        raise BenchError(
            f"it is not said which bus is asked; there are: {names}.",
            path=bench.path,
            hint='Add an [obd] table with bus = "...", the bus at the diagnostic connector.',
        )
    (bus,) = buses
    if bus.interface is None:
        raise BenchError(
            f'The bus "{bus.name}" has no interface.',
            path=bus.origin.path,
            line=bus.origin.line,
            hint='Give it interface and channel; "busprobe adapters" lists what is plugged in.',
        )
    return bus


def vehicle_recorded(
    recording: Path,
    bench_file: Path | None = None,
    *,
    strict: bool = False,
    progress: Callable[[float], None] | None = None,
) -> VehicleReport:
    """What the OBD traffic in a recording tells of the vehicle; nothing is sent.

    Of several buses that with the most control units counts. Raises BusprobeError where the
    recording cannot be used or has no answer of a control unit in it.
    """
    vehicle = load(bench_file).vehicle if bench_file is not None else ""
    problems = Problems(strict=strict)
    heard: defaultdict[str, _Heard] = defaultdict(_Heard)
    with closing(open_source(recording, problems=problems)) as source:
        for batch in source.batches():
            if isinstance(batch, FrameBatch):
                for index, channel in enumerate(batch.channels):
                    heard[channel].feed(batch.take(batch.channel == index))
                if progress is not None:
                    progress(batch.share)
    reads = {channel: one.ear.tally.result(channel, one.ear.newest_ns or 0) for channel, one in heard.items()}
    channel = max(reads, key=lambda name: len(reads[name].units), default="")
    if not channel or not reads[channel].units:
        raise OpenError(
            "no control unit answers OBD requests in it.",
            path=recording,
            hint='Record while a tester asks, or ask live: "busprobe vehicle live --bench FILE --allow-requests".',
        )
    notes = [
        f'OBD answers were heard on the bus "{other}" too; they are not shown.'
        for other, read in reads.items()
        if read.units and other != channel
    ]
    chosen = heard[channel]
    return VehicleReport(
        vehicle, recording.name, reads[channel], chosen.requests,
        tester=chosen.watch.seen, notes=tuple(notes), problems=problems,
    )  # fmt: skip


class _Heard:
    """OBD traffic of one channel of a recording."""

    def __init__(self) -> None:
        self.ear = VehicleEar()
        self.watch = RequestWatch()
        self.requests = 0
        """Sent by the machine that recorded."""
        self._listener = Listener()

    def feed(self, batch: FrameBatch) -> None:
        self.watch.feed(batch)
        records = self._listener.feed(batch)
        self.requests += sum(isinstance(record, Request) and record.was_sent for record in records)
        self.ear.hear(records)


def compared(report: VehicleReport, against: Path) -> VehicleReport:
    """The report with what has changed since an earlier one. Raises BusprobeError where that cannot be used."""
    return replace(report, comparison=compare(load_vehicle(against), report.read), against=against.name)


def _nobody(bus: Bus, *, is_silent: bool) -> DeviceError:
    heard = " and nothing else was heard there" if is_silent else ""
    rate = f", {bus.bitrate // 1000} kbit/s in the bench file" if bus.bitrate is not None else ""
    return DeviceError(
        f'No control unit on the bus "{bus.name}" answers OBD requests (7DF, 18DB33F1){heard}.',
        hint="In this order: ignition on, wait 10 s and try again; is it the bus at the diagnostic connector, other "
        f"buses answer nothing; bit rate (500 or 250 kbit/s there{rate}); 60 Ω between the wires; the connector may "
        "sit behind a gateway that lets nothing through: then switch wires or the maker's upfitter connector remain.",
    )
