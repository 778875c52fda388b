"""`verify live`, `record` and `survey live`: a bench file's sources, run for a time or until stopped."""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import busprobe
from busprobe.bench.model import Bench
from busprobe.decode.database import read_text
from busprobe.decode.layout import Database
from busprobe.engine.engine import Results
from busprobe.engine.plan import Plan
from busprobe.errors import BenchError, DeviceError, Problems
from busprobe.frames import FrameBatch, InputBatch
from busprobe.recording.write import refuse_target
from busprobe.report.live_text import LiveStatus
from busprobe.results import LogLine, Outcome
from busprobe.session.asking import Asking
from busprobe.session.enclosed import enclosed_texts
from busprobe.session.endings import endings_set
from busprobe.session.live import LiveRun
from busprobe.session.live_notes import live_notes
from busprobe.session.live_status import StatusTaker
from busprobe.session.opening import UNCERTAINTY_KEY
from busprobe.session.recorder import Recorder, RecorderStatus, refuse_full_disk
from busprobe.session.request_notes import request_notes
from busprobe.session.verifying import VerifyReport, load_plan
from busprobe.sources.boxes import open_box, refuse_shared_ports
from busprobe.sources.bus import BusSource
from busprobe.sources.bus_options import refuse_unknown_options
from busprobe.sources.clock import Clock
from busprobe.sources.driver_arguments import refuse_clashes
from busprobe.sources.drivers import uncertainty_ns
from busprobe.sources.live import LiveSource

STATUS_S = 0.5


@dataclass(frozen=True)
class LiveOptions:
    """How a live run goes."""

    for_ns: int | None = None
    """How long; None: until stopped."""
    record: Path | None = None
    overwrite: bool = False
    ring_bytes: int | None = None
    """Keep no more than about this much: the oldest part is dropped."""
    on_wake: bool = False
    """Begin with the first frame on a bus; the time counts from there."""
    allow_requests: bool = False
    """Ask for the PIDs of `[obd] poll` on a bus that is not listen-only."""


@dataclass(frozen=True)
class LiveOutcome:
    """What a live run came to."""

    results: Results
    run: LiveRun
    recorder: RecorderStatus | None
    asking: Asking

    def notes(self) -> list[str]:
        """What a person should know of it, a sentence each."""
        return [*request_notes(self.run.healths.requests()), *live_notes(self.run, self.results, self.recorder)]


Show = Callable[[LiveStatus], None]
Observer = Callable[[FrameBatch | InputBatch], None]


def live_sources(bench: Bench) -> list[LiveSource]:
    """The adapters and input boxes that a bench file names. Raises BenchError where it names none."""
    refuse_unknown_options(bench.buses)
    refuse_clashes(bench.buses)
    refuse_shared_ports(bench.buses, bench.boxes)
    sources: list[LiveSource] = [BusSource(bus) for bus in bench.buses if bus.interface is not None]
    sources += [open_box(box) for box in bench.boxes if box.driver != "recorded"]
    if not sources:
        raise BenchError(
            "no [[bus]] has an interface and no [[inputs]] a driver: there is nothing to listen to.",
            path=bench.path,
            hint='Give the bus its interface and channel; "busprobe adapters" lists what is plugged in.',
        )
    return sources


def stated_uncertainty(bench: Bench, sources: Sequence[LiveSource]) -> Mapping[str, int]:
    """By source, how exactly its records are stamped, as known before it is opened."""
    buses = {bus.name: uncertainty_ns(bus.interface or "", bus.channel or "") for bus in bench.buses}
    return {source.name: buses.get(source.name, source.health().uncertainty_ns) for source in sources}


def verify_live(bench: Path, options: LiveOptions, show: Show | None = None) -> VerifyReport:
    """Run the checks of a bench file on the live vehicle."""
    plan, databases = load_plan(bench)
    outcome = run_live(plan, databases, options, show=show)
    results, run = outcome.results, outcome.run
    return VerifyReport(
        results.checks,
        results.triggers,
        results.log,
        run.start_ns,
        results.end_ns or run.start_ns,
        plan.bench.vehicle,
        options.record.name if options.record is not None else "live",
        run.frames,
        Problems(),
        tuple(outcome.notes()),
        stopped_early=outcome.recorder is not None and bool(outcome.recorder.failure),
        unknown=results.unknown,
    )


def run_live(
    plan: Plan,
    databases: Mapping[str, Sequence[Database]],
    options: LiveOptions,
    *,
    show: Show | None = None,
    observers: Sequence[Observer] = (),
    sources: Sequence[LiveSource] | None = None,
    stop: threading.Event | None = None,
) -> LiveOutcome:
    """Run until the time is over or Ctrl-C; either way the run ends in order.

    sources: instead of those of the bench file. stop: ends the run when set. Raises DeviceError
    if no source can be opened, OpenError if nothing can be recorded to the file named.
    """
    if options.record is not None:
        refuse_target(options.record, options.overwrite)
        refuse_full_disk(options.record)
    stop = stop or threading.Event()
    clock = Clock()
    status = StatusTaker(plan.bench)
    failed = Counter[str]()

    def count(lines: Sequence[LogLine]) -> None:
        failed.update(line.kind for line in lines)

    given = live_sources(plan.bench) if sources is None else sources
    uncertainty = stated_uncertainty(plan.bench, given)
    asking = Asking(plan, given, clock, allow_requests=options.allow_requests)
    watching = (status.add, *observers, asking.observe)
    run = LiveRun(plan, given, clock, on_lines=count, observers=watching, uncertainty_ns=uncertainty, asked=asking.kept)
    kept: list[Recorder] = []

    def record(start_ns: int) -> Recorder | None:
        recorder = new_recorder(plan.bench, databases, options, start_ns, uncertainty)
        kept.extend([recorder] if recorder is not None else [])
        return recorder

    finishing = "Finishing." if options.record is None else "Finishing; the recording is being closed."
    with endings_set(stop, finishing):
        if options.on_wake:
            run.on_wake = record
        else:
            run.recorder = record(run.start_ns)
        try:
            run.start()
            _go_on(run, kept, status, failed, options.for_ns, show, stop, asking)
            asking.stop()
            results = run.finish()
        except DeviceError:
            for recorder in kept:
                recorder.discard_if_empty()
            raise
        finally:
            asking.stop()
            run.stop()
            written = kept[0].stop() if kept else None
    return LiveOutcome(results, run, written, asking)


def _go_on(
    run: LiveRun,
    kept: Sequence[Recorder],
    status: StatusTaker,
    failed: Counter[str],
    for_ns: int | None,
    show: Show | None,
    stop: threading.Event,
    asking: Asking,
) -> None:
    end_ns: int | None = None  # in event time, which goes on while the machine sleeps
    next_status = 0.0
    while not stop.is_set() and (end_ns is None or run.clock.now_ns() < end_ns):
        run.turn()
        if end_ns is None and for_ns is not None and run.on_wake is None:
            end_ns = run.clock.now_ns() + for_ns
        if show is not None and time.monotonic() >= next_status:
            next_status = time.monotonic() + STATUS_S
            now = status.take(run, kept[0] if kept else None, failed[Outcome.FAILED.value])
            show(replace(now, unasked=asking.paused, testers=asking.testers(run.clock.now_ns())))


def new_recorder(
    bench: Bench,
    databases: Mapping[str, Sequence[Database]],
    options: LiveOptions,
    start_ns: int,
    stated_ns: Mapping[str, int],
) -> Recorder | None:
    """A recorder that has started; None where nothing is to be recorded."""
    if options.record is None:
        return None
    paths = {d.path for found in databases.values() for d in found}
    texts = enclosed_texts(bench, {path: read_text(path) for path in paths})
    about = {"vehicle": bench.vehicle, "start_ns": str(start_ns), "busprobe": busprobe.__version__}
    about |= {f"{UNCERTAINTY_KEY} {name}": str(ns) for name, ns in stated_ns.items()}
    recorder = Recorder(
        options.record, about=about, bench=texts, overwrite=options.overwrite, ring_bytes=options.ring_bytes
    )
    recorder.start()
    return recorder
