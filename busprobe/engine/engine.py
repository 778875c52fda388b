"""The engine: batches of several sources in, the log and the verdicts out.

It keeps what each source has given until every source is complete up to some time W, and
lets its run evaluate what lies before W. How the data were cut into batches, and how the
batches of the sources were interleaved, has no influence on the result.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from busprobe.engine.history import History
from busprobe.engine.kept import CheckKept, TriggersKept
from busprobe.engine.lines import Logbook, occurrence_line, trigger_line
from busprobe.engine.mapping import bus_names
from busprobe.engine.ordering import merge, split
from busprobe.engine.plan import Plan
from busprobe.engine.run import Run
from busprobe.engine.source_queue import SourceQueue, clock_groups, flag_late
from busprobe.engine.watches import CheckWatch
from busprobe.frames import Batch, FrameBatch, InputBatch, StateBatch, join_frames, join_polls
from busprobe.grown import Grown
from busprobe.results import CheckResult, LogLine, Stretch, TriggerEntry
from busprobe.timeline import FOREVER, NEVER

STEP_BACK_NS = 1_000_000_000
"""Stamps that go back by more than this start a new segment."""


@dataclass(frozen=True)
class Results:
    """All that a recording came to."""

    checks: tuple[CheckResult, ...]
    triggers: tuple[TriggerEntry, ...]
    log: tuple[LogLine, ...]
    start_ns: int | None
    end_ns: int | None
    late: int
    """Records that came too late to count."""
    segments: int
    unknown: tuple[Stretch, ...]
    """When signals were unknown without excuse."""


class Engine:
    """Push batches of the sources named, `advance` when it suits, `finish` once.

    sources: names under which batches are pushed; each must say how far it is complete.
    uncertainty_ns: how exactly records are stamped, of all or by bus and box. by_channel: each
    channel has a clock of its own; else all frames of a source come from one clock, in its order.
    histories: by signal, where the change points of the first segment are kept.
    """

    def __init__(
        self,
        plan: Plan,
        sources: Sequence[str],
        uncertainty_ns: int | Mapping[str, int] = 0,
        *,
        by_channel: bool = False,
        histories: Mapping[str, History] | None = None,
    ) -> None:
        self._plan = plan
        self._by_channel = by_channel
        of_all = uncertainty_ns if isinstance(uncertainty_ns, int) else 0
        stated = {} if isinstance(uncertainty_ns, int) else uncertainty_ns
        self._uncertainty = {b.name: max(b.uncertainty_ns, stated.get(b.name, of_all)) for b in plan.bench.buses}
        self._uncertainty |= {b.name: stated.get(b.name, 0) for b in plan.bench.boxes}
        self._sources = {name: SourceQueue() for name in sources}
        self._kept = [CheckKept(check) for check in plan.checks]
        self._triggers = TriggersKept()
        self._log = Logbook()
        self._names: dict[tuple[str, ...], tuple[str, ...]] = {}
        self._bus_of: dict[str, str] = {}
        """Channel -> bus, of all channels so far."""
        self._start_ns: int | None = None
        self._end_ns: int | None = None
        self._segments = 1
        self._unknown: list[Stretch] = []
        """Of the segments that are over."""
        self._begun = False
        """Whether data of this segment have been evaluated."""
        self._run = Run(plan, self._uncertainty, histories)
        self.pending_rows = 0
        """Frames and polls that wait for the next `advance`."""

    def push(self, source: str, batch: Batch) -> None:
        """Take a batch of one source; cheap, evaluates nothing unless a new segment begins."""
        given = self._sources[source]
        if isinstance(batch, FrameBatch):
            self._bus_names(batch.channels)
        if isinstance(batch, StateBatch):
            given.states += batch.rows
        elif len(batch):
            self._push_rows(given, batch)
        complete = given.reached(batch.complete_to)
        if complete is not None:
            given.complete_to_ns = complete if given.complete_to_ns is None else max(given.complete_to_ns, complete)
            if not isinstance(batch, StateBatch) or batch.complete_to_ns is not None:
                given.end_ns = complete if given.end_ns is None else max(given.end_ns, complete)

    def set_up(self, source: str, *, is_up: bool) -> None:
        """Whether evaluation waits for a source: not while it is down."""
        self._sources[source].is_up = is_up

    @property
    def upto_ns(self) -> int | None:
        """Everything before this time has been evaluated."""
        return self._run.upto_ns

    @property
    def late(self) -> int:
        """Records so far that came too late to count."""
        return sum(s.late for s in self._sources.values())

    def is_asleep(self, bus: str) -> bool:
        """Whether a bus that some signal comes from was asleep at the time reached."""
        return bus in self._run.intake.pulses and self._run.intake.pulses[bus].is_asleep

    @property
    def log_length(self) -> int:
        """Lines released so far."""
        return len(self._log.lines)

    def advance(self) -> list[LogLine]:
        """Evaluate what all sources are complete for. Returns the new lines of the log, in order."""
        times = [NEVER if s.complete_to_ns is None else s.complete_to_ns for s in self._sources.values() if s.is_up]
        upto = min(times, default=FOREVER)
        reached = NEVER if self._run.upto_ns is None else self._run.upto_ns
        if reached < upto < FOREVER:
            self._advance_to(upto)
            self._log.release(upto)
        return self._log.new()

    def finish(self) -> Results:
        """The data end: evaluate the rest and give the results."""
        self._end_segment(is_last=True)
        self._run = Run(self._plan, self._uncertainty)
        return Results(
            self.checks_so_far(), tuple(self.triggers_so_far()), tuple(self._log.lines), self._start_ns, self._end_ns,
            self.late, self._segments, tuple(self._unknown),
        )  # fmt: skip

    def rest_if_ended(self) -> tuple[LogLine, ...]:
        """Lines that the log would still get if the data ended here; the engine itself goes on."""
        twin = copy.deepcopy(self, self._run.twin_memo())
        twin._end_segment(is_last=True)
        return tuple(twin._log.lines)

    def checks_so_far(self) -> tuple[CheckResult, ...]:
        """Every check with the occurrences decided so far; one that is unchanged is the same object as before."""
        return tuple(
            kept.result(check, self._glitches_of(check))
            for kept, check in zip(self._kept, self._run.checks, strict=True)
        )

    def triggers_so_far(self) -> Grown[TriggerEntry]:
        """All trigger entries so far, in the order in which they were decided."""
        return self._triggers.entries(self._run.triggers)

    def _glitches_of(self, check: CheckWatch) -> int:
        return self._run.intake.glitches(check.plan.signals)

    # Taking in.

    def screen(self, batch: FrameBatch | InputBatch) -> FrameBatch | InputBatch:
        """The batch with its late rows flagged: those that logic has passed already."""
        return batch if self._run.upto_ns is None else flag_late(batch, self._run.upto_ns)

    def _push_rows(self, given: SourceQueue, batch: FrameBatch | InputBatch) -> None:
        """Queue rows under the times at which they count; a step back of the stamps starts anew."""
        batch = given.in_time(batch)
        while len(batch):
            cut = self._push_up_to_step_back(given, batch)
            if cut == len(batch):
                return
            self._end_segment()
            self._segments += 1
            self._run, self._begun = Run(self._plan, self._uncertainty), False
            for source in self._sources.values():
                source.begin_segment()
            batch = batch.cut(cut, len(batch))

    def _push_up_to_step_back(self, given: SourceQueue, batch: FrameBatch | InputBatch) -> int:
        """Queue the rows before the first step back; returns its row, or how many rows there are."""
        groups = clock_groups(batch, by_channel=self._by_channel)
        peaks = [np.maximum.accumulate(batch.t_ns[rows]) for _, rows in groups]
        peaks = [np.maximum(p, given.newest_ns.get(key, NEVER)) for p, (key, _) in zip(peaks, groups, strict=True)]
        cut = len(batch)
        for peak, (_, rows) in zip(peaks, groups, strict=True):
            back = np.flatnonzero(batch.t_ns[rows] < peak - STEP_BACK_NS)
            if len(back):
                cut = min(cut, int(rows[back[0]]))
        for peak, (key, rows) in zip(peaks, groups, strict=True):
            upto = len(rows) if cut == len(batch) else int(np.searchsorted(rows, cut))
            if upto:
                part = batch if upto == len(batch) else batch.take(rows[:upto])
                self._queue(given, key, replace(part, t_ns=peak[:upto]))
        return cut

    def _queue(self, given: SourceQueue, key: str, part: FrameBatch | InputBatch) -> None:
        given.newest_ns[key] = int(part.t_ns[-1])
        upto = self._run.upto_ns
        if upto is not None and int(part.t_ns[0]) < upto:
            passed = int(np.searchsorted(part.t_ns, upto))
            given.late += passed
            part = part.cut(passed, len(part))
        if not len(part):
            return
        if self._start_ns is None or int(part.t_ns[0]) < self._start_ns:
            self._start_ns = int(part.t_ns[0])
        self.pending_rows += len(part)
        if isinstance(part, FrameBatch):
            given.frames.append(replace(part, channels=self._bus_names(part.channels)))
        else:
            given.polls.append(part)

    def _bus_names(self, channels: tuple[str, ...]) -> tuple[str, ...]:
        if channels not in self._names:
            self._names[channels] = bus_names(channels, self._plan.bench)
            self._bus_of.update(zip(channels, self._names[channels], strict=True))
        return self._names[channels]

    # Evaluating.

    def _advance_to(self, upto: int) -> None:
        """Evaluate up to a time, source states taking effect before data of their time."""
        states = sorted(
            (row for s in self._sources.values() for row in s.states if row.t_ns < upto), key=lambda row: row.t_ns
        )
        for source in self._sources.values():
            source.states = [row for row in source.states if row.t_ns >= upto]
        for row in states:
            if self._run.upto_ns is None or row.t_ns > self._run.upto_ns:
                self._step(row.t_ns)
            self._run.intake.state(replace(row, source=self._bus_of.get(row.source, row.source)))
        self._step(upto)
        self._collect()

    def _step(self, upto: int) -> None:
        frames: list[FrameBatch] = []
        polls: dict[str, InputBatch] = {}
        for source in self._sources.values():
            due, source.frames = split(source.frames, upto)
            if due:
                frames.append(join_frames(due).in_time_order())
            due_polls, source.polls = split(source.polls, upto)
            for box in dict.fromkeys(b.box for b in due_polls):
                polls[box] = join_polls([b for b in due_polls if b.box == box])
        self.pending_rows -= sum(map(len, frames)) + sum(map(len, polls.values()))
        if not self._begun and (frames or polls):
            self._begun = True
            starts = min(int(t_ns.min()) for t_ns in [b.t_ns for b in frames] + [b.t_ns for b in polls.values()])
            for watcher in (*(w for check in self._run.checks for w in check.watchers), *self._run.triggers):
                watcher.starts_ns = starts
        self._run.advance(merge(frames), polls, upto)

    def _collect(self) -> None:
        """Log what the watchers have decided since the last time."""
        self._log.hold(self._run.intake.log)
        self._run.intake.log.clear()
        for rank, check in enumerate(self._run.checks):
            for watcher in check.watchers:
                name = check.plan.check.name
                self._log.hold([occurrence_line(o, rank, name) for o in watcher.done[watcher.logged :]])
                watcher.logged = len(watcher.done)
        for rank, trigger in enumerate(self._run.triggers, len(self._run.checks)):
            self._log.hold([trigger_line(e, rank) for e in trigger.done[trigger.logged :]])
            trigger.logged = len(trigger.done)
        upto = self._run.upto_ns
        if upto is not None:
            for kept, check in zip(self._kept, self._run.checks, strict=True):
                kept.settle(check.watchers, upto)
            self._triggers.settle(self._run.triggers, upto)

    def _end_segment(self, *, is_last: bool = False) -> None:
        """Evaluate all that was given, close what is open and keep the outcomes."""
        # A source of states is complete to the end of the whole recording: only there does it count.
        sources = [s for s in self._sources.values() if s.newest_ns or is_last] or list(self._sources.values())
        times = [t for s in sources for t in (s.end_ns, *s.newest_ns.values()) if t is not None and t < FOREVER]
        if not times:
            return
        end = max(times)
        self._end_ns = end
        self._advance_to(end + 1)
        self._run.finish(end)
        self._collect()
        self._log.release(FOREVER)
        for kept, check in zip(self._kept, self._run.checks, strict=True):
            kept.end_segment(check, self._glitches_of(check))
        self._triggers.settle(self._run.triggers, FOREVER)
        self._unknown += self._run.unknowns.all()
