"""`verify`: a recording and a bench file to verdicts, triggers and a log."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from busprobe.bench.load import load
from busprobe.bench.model import Bench
from busprobe.bench.signals import refuse_mistyped_roles
from busprobe.decode.database import load as load_database
from busprobe.decode.layout import Database
from busprobe.engine.engine import Engine
from busprobe.engine.plan import Plan, build
from busprobe.engine.signal_plan import MessageTap
from busprobe.errors import OpenError, Problems
from busprobe.frames import FrameBatch
from busprobe.report.quantities import counted, times
from busprobe.results import CheckResult, LogLine, Marker, Stretch, TriggerEntry, WalkResult
from busprobe.session.opening import markers_of, open_source, ring_notes, source_of, stated_uncertainty, walk_of
from busprobe.session.sources_seen import SourcesSeen
from busprobe.sources.boxes import refuse_faulty_boxes
from busprobe.sources.formats import BATCH_ROWS
from busprobe.sources.interface_names import refuse_mistyped_interfaces

BLOCK_ROWS = 400_000
"""Rows gathered before the engine evaluates them: its cost is by call, not by row."""


@dataclass(frozen=True)
class VerifyReport:
    """All that `verify` found."""

    checks: tuple[CheckResult, ...]
    triggers: tuple[TriggerEntry, ...]
    log: tuple[LogLine, ...]
    start_ns: int
    end_ns: int
    vehicle: str
    recording: str
    frames: int
    problems: Problems
    notes: tuple[str, ...] = ()
    stopped_early: bool = False
    """Of a live run: recording stopped before the run did."""
    walk: tuple[WalkResult, ...] = ()
    """What the guided walk found, as recorded, in the order found."""
    markers: tuple[Marker, ...] = ()
    """Notes set in the recording, in order of time."""
    unknown: tuple[Stretch, ...] = ()
    """When signals were unknown without excuse."""


def load_checked(path: Path) -> Bench:
    """A bench file, its hardware as far looked at as that goes with nothing plugged in. Raises BusprobeError."""
    bench = load(path)
    refuse_mistyped_interfaces(bench.buses)
    refuse_faulty_boxes(bench.boxes)
    refuse_mistyped_roles(bench)
    return bench


def load_plan(path: Path) -> tuple[Plan, Mapping[str, list[Database]]]:
    """A bench file with the databases that it names, resolved."""
    return plan_of(load_checked(path))


def plan_of(bench: Bench) -> tuple[Plan, Mapping[str, list[Database]]]:
    """The same for a bench file that has been read."""
    databases = load_databases(bench)
    return build(bench, databases), databases


def load_databases(bench: Bench) -> Mapping[str, list[Database]]:
    """The databases of each bus; one that several buses share is read once."""
    read: dict[Path, Database] = {}
    for path in (p for bus in bench.buses for p in bus.databases):
        if path not in read:
            read[path] = load_database(path)
    return {bus.name: [read[p] for p in bus.databases] for bus in bench.buses}


def verify(
    recording: Path,
    bench: Path,
    *,
    strict: bool = False,
    progress: Callable[[float], None] | None = None,
    batch_rows: int = BATCH_ROWS,
) -> VerifyReport:
    """Evaluate every check and trigger of a bench file over a recording.

    progress: called with the share read, 0 to 1. Raises BusprobeError where the input cannot
    be used: no recording, a faulty bench file, or one of another vehicle.
    """
    plan, databases = load_plan(bench)
    problems = Problems(strict=strict)
    source = open_source(recording, problems=problems, batch_rows=batch_rows)
    engine = Engine(plan, source.sources, source.uncertainty_ns, by_channel=source.is_own)
    heard, seen = _Heard(plan), SourcesSeen()
    with closing(source):
        walk, markers = walk_of(source), markers_of(source)
        for batch in source.batches():
            if isinstance(batch, FrameBatch):
                heard.add(batch)
                if progress is not None:
                    progress(batch.share)
            seen.add(batch)
            engine.push(source_of(batch), batch)
            if engine.pending_rows >= BLOCK_ROWS:
                engine.advance()
    results = engine.finish()
    heard.refuse_other_vehicle(recording, bench)
    start_ns = source.start_ns or results.start_ns or 0
    return VerifyReport(
        results.checks,
        results.triggers,
        results.log,
        start_ns,
        results.end_ns or start_ns,
        plan.bench.vehicle,
        recording.name,
        heard.frames,
        problems,
        (
            *seen.notes(stated_uncertainty(source.about), plan.bench.boxes, start_ns),
            *ring_notes(source.about, start_ns),
            *_notes(results.late, results.segments, databases),
        ),
        walk=walk,
        markers=markers,
        unknown=results.unknown,
    )


class _Heard:
    """Which identifiers a recording has, as far as the bench file asks."""

    def __init__(self, plan: Plan) -> None:
        taps = [s.tap for signal in plan.signals.values() for s in signal.sources]
        messages = [tap.message for tap in taps if isinstance(tap, MessageTap)]
        self._wanted = {m.identifier for m in messages}
        self._names = list(dict.fromkeys(m.name for m in messages))
        self._found = False
        self.frames = 0

    def add(self, batch: FrameBatch) -> None:
        self.frames += len(batch)
        if not self._found and self._wanted:
            wanted = np.array(sorted(self._wanted), np.uint32)
            self._found = bool(np.isin(batch.identifier, wanted).any())

    def refuse_other_vehicle(self, recording: Path, bench: Path) -> None:
        """Raise OpenError where frames were recorded but none of the messages wanted."""
        if self._found or not self._wanted or not self.frames:
            return
        names = ", ".join(self._names[:5]) + (" ..." if len(self._names) > 5 else "")
        raise OpenError(
            f"none of the messages that {bench.name} asks for is in this recording ({names}).",
            path=recording,
            hint=f"Is {bench.name} the bench file of this vehicle? busprobe survey shows what was recorded.",
        )


def _notes(late: int, segments: int, databases: Mapping[str, list[Database]]) -> list[str]:
    """What else the user should know, a sentence each."""
    notes = []
    if late:
        notes.append(f"{counted(late, 'record')} came too late to count.")
    if segments > 1:
        notes.append(f"The time stamps step back {times(segments - 1)}: each time everything starts from unknown.")
    for database in {id(d): d for found in databases.values() for d in found}.values():
        if database.faulty:
            faults = counted(len(database.faulty), "fault")
            notes.append(f"{database.path.name}: {faults}, the rest is used; survey lists them.")
    return notes
