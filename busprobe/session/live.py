"""A live run: readers in, one engine, the recorder and the log out.

    reader threads ──> inbox ──> this loop ──> engine ──> log lines
                                     └──────> recorder thread

The loop flags what comes too late, hands every batch to the recorder first, and lets the
engine evaluate what all sources are complete for. A source that has not got further for
100 ms is declared down, by a row that is recorded: it no longer holds the others back.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from busprobe.engine.engine import Engine, Results
from busprobe.engine.history import History
from busprobe.engine.plan import Plan
from busprobe.engine.source_queue import flag_late
from busprobe.errors import DeviceError
from busprobe.frames import ERROR, SENT, Condition, FrameBatch, InputBatch, SourceState, StateBatch
from busprobe.health import RequestsNow
from busprobe.results import LogLine
from busprobe.session.busy import Busy
from busprobe.session.downs import Downs
from busprobe.session.gaps import Unsure, lost_states
from busprobe.session.healths import HealthRows
from busprobe.session.opening import STATES
from busprobe.session.readers import Came, Event, Gone, Inbox, Lost, Opened, QuickTurns, Reader, stop_all
from busprobe.session.recorder import Recording
from busprobe.session.source_status import PERIODS, SourceStatus, holding_back
from busprobe.sources.clock import Clock
from busprobe.sources.live import LiveSource
from busprobe.timeline import FOREVER, NEVER

SILENT_S = 0.1
"""A source whose reader has got no further for this long is down."""
SOONEST_S, LATEST_S = 0.025, 0.06
"""The engine evaluates once all sources have got further (they do every 50 ms, all at once), or at the latest."""
OPENING_S = 5.0
"""How long the first attempt to open all sources may take."""
SOON_S = 0.5
"""... before the run goes on without them, where they may come later."""
STOPPING_S = 2.0
"""How long all readers together may take to stop."""


@dataclass
class LiveRun:
    """All of a live run. Call `start`, then `turn` until it is over, then `finish`."""

    plan: Plan
    sources: Sequence[LiveSource]
    clock: Clock
    recorder: Recording | None = None
    on_lines: Callable[[Sequence[LogLine]], None] | None = None
    observers: Sequence[Callable[[FrameBatch | InputBatch], None]] = ()
    """Told of every batch, after the recorder; they must be quick."""
    uncertainty_ns: Mapping[str, int] = field(default_factory=dict)
    """By source, how exactly its records are stamped."""
    histories: Mapping[str, History] | None = None
    """By signal: where its change points are kept, for looking back."""
    asked: Callable[[], Sequence[RequestsNow]] = tuple
    """What is known of OBD requests now; it is recorded too."""
    on_wake: Callable[[int], Recording | None] | None = None
    """Called once with the time of the first frame: the run begins with it, recorded by what this returns."""
    frames: int = 0
    states: list[SourceState] = field(default_factory=list)
    """When sources went down and came back in this run."""
    status: dict[str, SourceStatus] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.inbox = Inbox(self._record_only)
        self._begun, self._advanced, self._stop_by = False, 0.0, 0.0
        self._busy, self._turns = Busy(SILENT_S / 2), QuickTurns()
        self._begin_by = time.monotonic() + OPENING_S
        self.begin(self.recorder, self.histories)
        asked = {box.name: box.period_ns for box in self.plan.bench.boxes}
        for source in self.sources:
            reader = Reader(source, self.clock, self.inbox)
            patience_s = max(SILENT_S, PERIODS * asked.get(source.name, 0) / 1e9)
            self.status[source.name] = SourceStatus(reader, patience_s, source.name in asked)

    def begin(
        self, recorder: Recording | None, histories: Mapping[str, History] | None, start_ns: int | None = None
    ) -> None:
        """A new run with a new log, from unknown; the sources go on as they are.

        start_ns: nothing before it is of this run; None: it begins with what comes.
        """
        self._from_ns = start_ns
        self.start_ns = self.clock.now_ns() if start_ns is None else start_ns
        self.recorder = recorder
        self.states, self.downs, self.healths = [], Downs(), HealthRows(self.status, self.asked)
        names = [source.name for source in self.sources]
        self.engine = Engine(self.plan, [STATES, *names], self.uncertainty_ns, by_channel=True, histories=histories)
        for name in names:
            self.engine.set_up(name, is_up=name in self.status and self.status[name].is_up)
        for name, status in self.status.items():
            status.is_said_down, status.said_ns, status.unsure = False, NEVER, Unsure()
            if not status.is_up and (status.was_up or status.trouble):
                self._say_down(name, status.trouble, self.start_ns)
            if status.complete_to_ns is not None:
                # What was heard before this run began is none of its times.
                status.complete_to_ns = max(status.complete_to_ns, self.start_ns)

    def start(self, *, must_open: bool = True) -> None:
        """Start the readers. Raises DeviceError if not one source can be opened, unless that may come later."""
        self._turns.begin()
        for status in self.status.values():
            status.reader.start()
        deadline = time.monotonic() + (OPENING_S if must_open else SOON_S)
        while time.monotonic() < deadline and not any(s.was_up for s in self.status.values()):
            self.turn()
            if all(s.trouble for s in self.status.values()):
                break
        for status in self.status.values():
            if status.reader.failure is not None:
                self.stop()
                raise status.reader.failure
        if must_open and not any(s.was_up for s in self.status.values()):
            self.stop()
            raise DeviceError(
                "\n".join(s.trouble or f"{name} does not open." for name, s in self.status.items())
                or "the bench file has no bus and no input box."
            )

    def turn(self) -> None:
        """One round: take what came, evaluate it if it is time."""
        for event in self.inbox.take(SOONEST_S):
            self._handle(event)
        now = time.monotonic()
        held_up = self._busy.turn(now)
        for status in self.status.values():
            # Where the machine held this process up, its readers could get no further either.
            status.progress_s = min(status.progress_s + held_up, now)
        if self._is_time(now) and self._has_begun(now):
            for name in holding_back(self.status, now, self._busy.patience_s):
                self._down(name, "its reader is silent")
            self._tell_time()
            self._tell(self.engine.advance())
            self._advanced = now

    def _is_time(self, now: float) -> bool:
        """Whether to evaluate; where no source is up, only the latest time counts."""
        least = min((status.progress_s for status in self.status.values() if status.is_up), default=0.0)
        return now >= self._advanced + (SOONEST_S if least > self._advanced else LATEST_S)

    def _has_begun(self, now: float) -> bool:
        """Whether every source has given something, or said why it cannot; one that hangs is then said to be gone."""
        if not self._begun:
            hung = [name for name, status in self.status.items() if not (status.was_up or status.trouble)]
            self._begun = not hung or now > self._begin_by
            for name in hung if self._begun else ():
                self._handle(Gone(name, f"{name} gives nothing: its driver hangs."))
        return self._begun

    def stop(self) -> None:
        """Stop the readers and take what they have still given; one that hangs is waited for once."""
        self._turns.end()
        self._stop_by = self._stop_by or time.monotonic() + STOPPING_S
        stop_all((status.reader for status in self.status.values()), self._stop_by)
        self.healths.tell(self.recorder, self.engine.upto_ns or self.start_ns, is_end=True)
        for event in self.inbox.take(0.0):
            self._handle(event)

    def end_recording(self) -> None:
        """The recording ends here, its log like that of its replay; the run itself goes on."""
        recorder = self.recorder
        if recorder is None:
            return
        recorder.put(self._tell_time(is_end=True))
        self._tell(self.engine.advance())
        recorder.put_lines(self.engine.rest_if_ended())
        self.recorder = None

    def finish(self) -> Results:
        """Stop, evaluate the rest and give the results; the recorder is left to its owner."""
        self.stop()
        end = self._tell_time(is_end=True)
        if self.recorder is not None:
            self.recorder.put(end)
        self._tell(self.engine.advance())
        told = self.engine.log_length
        results = self.engine.finish()
        self._tell(results.log[told:])
        return results

    # Events of the readers.

    def _handle(self, event: Event) -> None:
        status = self.status[event.source]
        match event:
            case Came(source, batch):
                self._came(source, status, batch)
            case Lost(source, upto_ns):
                if status.is_up:
                    self._gap(status, lost_states(source, self._whole_to(status), upto_ns))
            case Opened():
                status.trouble, status.is_gone = "", False
            case Gone(source, text, health):
                status.lost(text, health)
                if status.is_up:
                    self._down(source, text)
                elif not status.is_said_down:
                    status.gaps += 1
                    self._say_down(source, text)

    def _came(self, name: str, status: SourceStatus, batch: FrameBatch | InputBatch) -> None:
        whole_to_ns, complete = self._whole_to(status), batch.complete_to
        if complete is not None and (status.complete_to_ns is None or complete > status.complete_to_ns):
            status.complete_to_ns = complete
            status.progress_s = time.monotonic()
            if not status.is_up:
                self._up(name, status)
        told = status.unsure.states(name, batch, whole_to_ns) if status.is_up else []
        if self.on_wake is not None and isinstance(batch, FrameBatch) and len(batch):
            start_ns, wake, self.on_wake = int(batch.t_ns[0]), self.on_wake, None
            self.begin(wake(start_ns), self.histories, start_ns)
            told = []
        self._gap(status, told)
        if self._from_ns is not None and len(batch) and int(batch.t_ns[0]) < self._from_ns:
            batch = batch.take(batch.t_ns >= self._from_ns)
        batch = self.engine.screen(batch)
        status.rows += len(batch)
        if isinstance(batch, FrameBatch):
            self.frames += len(batch)
            status.errors += int(np.count_nonzero(batch.flags & ERROR))
            status.own += int(np.count_nonzero(batch.flags & SENT))
        if self.recorder is not None:
            self.recorder.put(batch)
        for observer in self.observers:
            observer(batch)
        self.engine.push(name, batch)

    def _record_only(self, batch: FrameBatch | InputBatch) -> None:
        """What no logic can take in any more: recorded all the same, as late, so that no replay takes it in either."""
        recorder = self.recorder
        if recorder is not None and len(batch):
            recorder.put(flag_late(batch, FOREVER))

    def _up(self, name: str, status: SourceStatus) -> None:
        status.is_up = True
        self.engine.set_up(name, is_up=True)
        if status.is_said_down:
            self._state(status, SourceState(self.engine.upto_ns or self.start_ns, name, Condition.UP))
        status.was_up = True

    def _down(self, name: str, note: str) -> None:
        status = self.status[name]
        status.is_up, status.unsure = False, Unsure()
        status.gaps += 1
        self.engine.set_up(name, is_up=False)
        self._say_down(name, note)

    def _whole_to(self, status: SourceStatus) -> int:
        """From when on a source that is up has not given all that came."""
        given = self.start_ns if status.complete_to_ns is None else status.complete_to_ns + 1
        return max(given, self.engine.upto_ns or given)

    def _gap(self, status: SourceStatus, rows: Sequence[SourceState]) -> None:
        """A source that goes on was down for a time."""
        for row in rows:
            status.gaps += row.condition is Condition.DOWN
            self._state(status, replace(row, t_ns=max(row.t_ns, self.engine.upto_ns or row.t_ns)))

    def _say_down(self, name: str, note: str, at_ns: int | None = None) -> None:
        """That a source is down. at_ns: since when; None: from after what it gave, or never gave anything."""
        status = self.status[name]
        if at_ns is None:
            at_ns = self.start_ns if status.complete_to_ns is None else status.complete_to_ns + 1
        why = note.splitlines()[0] if note else ""
        self._state(status, SourceState(max(at_ns, self.engine.upto_ns or at_ns), name, Condition.DOWN, why))

    def _tell_time(self, *, is_end: bool = False) -> StateBatch:
        """Source states are complete to now: where every source is down, time goes on all the same."""
        self.healths.tell(self.recorder, self.engine.upto_ns or self.start_ns, is_end=is_end)
        batch = StateBatch((), self.clock.now_ns())
        self.engine.push(STATES, batch)
        return batch

    def _state(self, status: SourceStatus, row: SourceState) -> None:
        """Record a state; however short it was, it came after the one before it."""
        row = replace(row, t_ns=max(row.t_ns, status.said_ns + 1))
        status.said_ns, status.is_said_down = row.t_ns, row.condition is Condition.DOWN
        self.states.append(row)
        self.downs.add((row,))
        batch = StateBatch((row,))
        if self.recorder is not None:
            self.recorder.put(batch)
        self.engine.push(STATES, batch)

    def _tell(self, lines: Sequence[LogLine]) -> None:
        if lines and self.recorder is not None:
            self.recorder.put_lines(lines)
        if lines and self.on_lines is not None:
            self.on_lines(lines)
