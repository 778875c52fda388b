"""A recording as a scene: loaded by a thread from its start, shown at any time loaded so far."""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from pathlib import Path

from busprobe.analysis.frame_tally import FrameTally
from busprobe.decode.layout import Database
from busprobe.engine.engine import Engine
from busprobe.engine.plan import Plan
from busprobe.errors import BusprobeError, Problems, said
from busprobe.frames import Batch, FrameBatch, InputBatch, StateBatch
from busprobe.health import Health
from busprobe.results import BUS_KINDS, CheckResult, Logged, LogLine, Outcome
from busprobe.session.board import Board
from busprobe.session.flow import Flow
from busprobe.session.guide import Guide
from busprobe.session.kept_marks import gap_marks, own_marks
from busprobe.session.known_again import with_ends
from busprobe.session.log_marks import LogMarks
from busprobe.session.logged import TriggerLog
from busprobe.session.opening import OpenedSource, OwnRecording, ring_notes, source_of, stated_uncertainty, walk_of
from busprobe.session.player import ReplayPlayer
from busprobe.session.sleeps import Sleeps
from busprobe.session.snapshot import FrameDetail, Mark, SignalPath, Snapshot, SourceNow
from busprobe.session.sources_seen import SourcesSeen
from busprobe.session.stores import MemoryStore, OwnStore, TallyIndex

FIRST_ROWS, BLOCK_ROWS = 8_000, 400_000
"""Rows evaluated at first, so that something shows soon, and later."""
AHEAD_S = 1.0  # loading waits at most so long until the first picture is shown
MARKED = (Outcome.FAILED.value, Outcome.UNDECIDED.value, "trigger")
"""Kinds of log lines that are marks, under the same name."""


class ReplayScene:
    """Opens at once; the rest of the recording is evaluated behind it."""

    def __init__(
        self,
        path: Path,
        source: OpenedSource,
        plan: Plan,
        databases: Mapping[str, Sequence[Database]],
        problems: Problems,
    ) -> None:
        self._path = path
        self._source = source
        self._problems = problems
        self._plan = plan
        self._buttons = {t.trigger.name for t in plan.triggers if t.trigger.is_marker}
        """Triggers that are the user's button."""
        self._board = Board(plan, databases)
        self._memory = MemoryStore()
        """Frames of a file that cannot be asked for a time."""
        store = OwnStore(source.recording, self._say_failure) if isinstance(source, OwnRecording) else self._memory
        self._index = TallyIndex(store)
        self._flow = Flow()
        self._seen = SourcesSeen()
        self._engine = Engine(
            plan, source.sources, source.uncertainty_ns, by_channel=source.is_own, histories=self._board.histories
        )
        self._checks: tuple[CheckResult, ...] = self._engine.checks_so_far()
        self._triggers: Sequence[Logged] = ()
        self._trigger_log = TriggerLog()
        recorded = walk_of(source)
        self.guide = Guide(lambda _: "A recording that is replayed keeps no result of a walk.", recorded)
        self._own_marks = own_marks(source, recorded)
        self._log_marks = LogMarks()
        self._unmarked: list[str] = []
        """What is said of marks that are left out."""
        self._sleeps = Sleeps()
        self._marks: tuple[Mark, ...] = tuple(sorted(self._own_marks, key=lambda m: m.t_ns))
        self._start_ns: int | None = source.start_ns
        self._end_ns: int | None = None
        self._loaded = 0.0
        self._failure = ""
        self._stop_now = threading.Event()
        self._ready = threading.Event()
        self._is_shown = threading.Event()  # a second picture is asked for: the first one is on the screen
        self._last: tuple[tuple[object, ...], Snapshot] | None = None
        """The newest picture, and of what."""
        self._player = ReplayPlayer(
            store, self._board.histories, self._span, lambda: self._marks, self._keep_marker,
            lambda: (self._checks, self._triggers),
        )  # fmt: skip
        self._thread = threading.Thread(target=self._load, name="load", daemon=True)
        self._thread.start()
        self._ready.wait(2.0)

    @property
    def player(self) -> ReplayPlayer:
        return self._player

    @property
    def folder(self) -> Path:
        return self._path.parent

    def snapshot(self) -> Snapshot:
        """The same object again while nothing has changed: a picture that is shown need not be painted."""
        player = self._player
        now = (
            player.position_ns, player.is_playing, player.speed, self._span(), self._loaded, self._failure,
            id(self._checks), len(self._marks), self._problems.count,
        )  # fmt: skip
        last = self._last
        if last is not None:
            self._is_shown.set()
        if last is None or last[0] != now:
            self._last = last = (now, self._made(now[0]))
        return last[1]

    def _made(self, t_ns: int) -> Snapshot:
        start, end = self._span()
        tally = self._index.at(t_ns)
        signals = with_ends(self._board.signals(t_ns, tally), self._board.histories, t_ns)
        decided = bisect_right(self._triggers, t_ns, key=lambda e: e.decided_ns)
        return Snapshot(
            "replay", self._plan.bench.vehicle, self._path.name, t_ns, start, end, signals,
            self._board.frame_table(tally), self._board.checks_at(self._checks, t_ns), self._triggers[:decided],
            self._sources(t_ns, tally), None, (*self._notes(), *self._seen.requests.unasked(t_ns)),
            late=self._engine.late, is_playing=self._player.is_playing, speed=self._player.speed, loaded=self._loaded,
            failure=self._failure, requests=self._seen.requests.shown(t_ns), downs=self._board.downs.at(t_ns),
        )  # fmt: skip

    def frame_detail(self, channel: str, identifier: int, is_extended: bool) -> FrameDetail | None:
        return self._board.frame_detail(self._index.at(self._player.position_ns), channel, identifier, is_extended)

    def path(self, signal: str) -> SignalPath | None:
        t_ns = self._player.position_ns
        tally = self._index.at(t_ns)
        return self._board.path(signal, t_ns, tally, self._board.checks_at(self._checks, t_ns))

    def start_recording(self, path: str) -> str:
        return "This is a recording already."

    def stop_recording(self) -> str:
        return "This is a recording already."

    def stop_loading(self) -> None:
        """Give up loading; what is loaded stays."""
        self._stop_now.set()

    def close(self) -> None:
        self._stop_now.set()
        self._is_shown.set()
        self._thread.join(timeout=5.0)
        self._source.close()

    # The loading thread.

    def _load(self) -> None:
        try:
            for batch in self._source.batches():
                self._take(batch)
                if self._stop_now.is_set():
                    self._failure = "loading was stopped; the rest is not shown."
                    return
            told = self._engine.log_length
            results = self._engine.finish()
            self._mark(results.log[told:])
            self._end_ns = max((t for t in (self._end_ns, results.end_ns) if t is not None), default=None)
            self._publish()
            self._loaded = 1.0
        except Exception as error:  # nobody else hears of it, and what is shown is not the whole
            self._failure = said(error)
        finally:
            self._ready.set()

    def _say_failure(self, text: str) -> None:
        self._failure = text

    def _take(self, batch: Batch) -> None:
        self._seen.add(batch)
        if isinstance(batch, FrameBatch):
            self._flow.add(batch)
            self._index.add(batch if self._source.is_own else self._memory.add(batch))
            self._loaded = min(batch.share, 0.999)
        if isinstance(batch, StateBatch):
            self._board.downs.add(batch.rows)
            for mark in gap_marks(batch.rows, self._board.downs):
                self._log_marks.add(mark)
        elif len(batch):
            last, first = int(batch.t_ns.max()), int(batch.t_ns[0])
            self._start_ns = first if self._start_ns is None else self._start_ns
            self._end_ns = last if self._end_ns is None else max(self._end_ns, last)
        if isinstance(batch, InputBatch):
            self._board.polls.add(batch)
        self._engine.push(source_of(batch), batch)
        if self._engine.pending_rows >= (BLOCK_ROWS if self._ready.is_set() else FIRST_ROWS):
            self._mark(self._engine.advance())
            self._publish()
            if not self._ready.is_set():
                self._ready.set()
                self._is_shown.wait(AHEAD_S)  # the program is still busy with coming up

    def _publish(self) -> None:
        self._checks = self._engine.checks_so_far()
        self._triggers = self._trigger_log.with_entries(self._engine.triggers_so_far())
        self._merge_marks()

    def _merge_marks(self) -> None:
        self._unmarked = self._log_marks.notes(self._span()[0])
        marks = [*self._log_marks.shown(), *self._own_marks]
        self._marks = tuple(sorted(marks, key=lambda m: m.t_ns))

    def _mark(self, lines: Sequence[LogLine]) -> None:
        self._trigger_log.add(lines)
        for line in lines:
            if line.kind in BUS_KINDS:
                self._sleeps.add(line)
            if line.kind in MARKED:
                is_press = line.kind == "trigger" and line.name in self._buttons
                self._log_marks.add(Mark(line.t_ns, "marker" if is_press else line.kind, line.name))

    def _span(self) -> tuple[int, int]:
        start = self._start_ns or 0
        return start, max(self._end_ns or start, start)

    # What belongs to the recording as a whole.

    def _keep_marker(self, t_ns: int, note: str) -> str:
        mark = Mark(t_ns, "marker", note)
        told = ""
        if isinstance(self._source, OwnRecording) and self._source.recording.damage is not None:
            told = "Nothing is written to a damaged recording: the marker lasts until you leave."
        elif isinstance(self._source, OwnRecording):
            if self._thread.is_alive():
                return "The recording is still being loaded: set the marker when that is done."
            try:
                self._source.recording.add_marker(t_ns, note)
            except BusprobeError as error:
                return str(error)
        else:
            told = "A file of this format cannot keep markers: it lasts until you leave."
        self._own_marks.append(mark)
        self._merge_marks()
        return told

    def _notes(self) -> tuple[str, ...]:
        damage = [str(p) for p in self._problems.items[:20]]
        stated = stated_uncertainty(self._source.about)
        never = self._seen.never(stated, self._span()[0]) if self._loaded == 1.0 else ()
        dropped = ring_notes(self._source.about, self._span()[0])
        return (*self._board.faults, *damage, *dropped, *never, *self._unmarked)

    def _sources(self, t_ns: int, tally: FrameTally) -> tuple[SourceNow, ...]:
        """Buses and boxes as recorded; what the recording does not tell of how they did stays empty."""
        number = dict(enumerate(tally.channels))
        stated = stated_uncertainty(self._source.about)
        silent = [bus.name for bus in self._plan.bench.buses if bus.name in stated]
        counts = dict.fromkeys([*number.values(), *self._flow.channels, *silent], 0)
        for key, count in zip(tally.rows.key.tolist(), tally.rows.count.tolist(), strict=True):
            counts[number[key >> 30]] += count
        heard = tally.heard()
        found = [self._bus(name, count, t_ns, heard.get(name)) for name, count in counts.items()]
        found += [self._box(box.name, t_ns) for box in self._plan.bench.boxes]
        return tuple(found)

    def _box(self, name: str, t_ns: int) -> SourceNow:
        span = max((t_ns - self._span()[0]) / 1e9, 1e-3)
        downs, polls = self._board.downs.of(name, t_ns), self._board.polls
        down = downs.last
        count = polls.count_until(name, t_ns)
        is_recorded = name in self._source.sources or self._board.downs.knows(name)
        told = self._seen.healths.at(name, t_ns)
        health = told or Health(uncertainty_ns=self._uncertainty_of(name))
        return SourceNow(
            name, "box", is_recorded and down is None, count, count / span, None, health.errors,
            None if told is None else told.lost, downs.count, health.uncertainty_ns, polls.period_ns(name, t_ns),
            health.state if is_recorded else "not recorded", "" if down is None else down.note, "", health.faults,
            bounce=self._board.bounce(name, t_ns), sees_bounce=self._board.periods.sees_bounce(name, t_ns),
        )  # fmt: skip

    def _bus(self, channel: str, count: int, t_ns: int, heard_ns: int | None) -> SourceNow:
        """count: frames up to the time. heard_ns: time of the first one."""
        rate, name = self._flow.at(channel, t_ns, count), self._board.bus_of(channel)
        bit_rate = next((bus.bitrate for bus in self._plan.bench.buses if bus.name == name), None)
        load = rate.bits / bit_rate if bit_rate else None
        downs = self._board.downs.of(channel, t_ns)
        down, told = downs.last, self._seen.healths.at(channel, t_ns)
        health = (told or Health(uncertainty_ns=self._uncertainty_of(channel))).at_least(rate.errors)
        return SourceNow(
            channel, "bus", down is None, count, rate.frames, load, health.errors,
            None if told is None else told.lost, downs.count, health.uncertainty_ns, None, health.state,
            "" if down is None else down.note, health.listening,
            asleep=self._is_asleep(channel, t_ns), described=self._board.described(channel), heard_ns=heard_ns,
        )  # fmt: skip

    def _is_asleep(self, channel: str, t_ns: int) -> bool:
        """Whether a channel was asleep; a sleep ends with a frame, or with its adapter."""
        since_ns = self._sleeps.since(self._board.bus_of(channel), t_ns)
        return since_ns is not None and not self._board.downs.has_state(channel, since_ns, t_ns)

    def _uncertainty_of(self, name: str) -> int:
        stated = self._source.uncertainty_ns
        return stated if isinstance(stated, int) else stated.get(name, 0)
