"""The live vehicle as a scene: a live run on a thread of its own, pictured when asked."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from busprobe.analysis.frame_tally import FrameTally
from busprobe.decode.layout import Database
from busprobe.engine.history import NO_BOUNCE
from busprobe.engine.plan import Plan
from busprobe.errors import BusprobeError, OpenError, said
from busprobe.frames import FrameBatch, InputBatch
from busprobe.health import RequestsNow
from busprobe.report.live_text import LiveStatus
from busprobe.results import CheckResult, Logged, LogLine, WalkResult
from busprobe.session.asking import Asking
from busprobe.session.board import Board
from busprobe.session.guide import Guide
from busprobe.session.live import LiveRun
from busprobe.session.live_bench import LiveOptions, live_sources, new_recorder, stated_uncertainty
from busprobe.session.live_status import StatusTaker
from busprobe.session.logged import TriggerLog
from busprobe.session.recorder import Recorder
from busprobe.session.scene import recording_file
from busprobe.session.snapshot import FrameDetail, RecorderNow, SignalPath, Snapshot, SourceNow
from busprobe.session.walk_kept import KeptWalk
from busprobe.sources.clock import Clock
from busprobe.sources.live import LiveSource
from busprobe.timeline import FOREVER

KEPT_NS = 600_000_000_000
"""How much of the past stays in memory; older is in the recording."""
MOST_TRIGGERS = 1000
CLOSED_S = 0.02
"""How often it is looked whether a recording is closed."""
NOT_RECORDED = (
    "Nothing is being recorded: results are printed when you leave, and go into a recording that is started before."
)


class LiveScene:
    """Starts listening at once, also where no source can be opened yet.

    sources: instead of those of the bench file. allow_requests: ask for the PIDs of `[obd] poll`.
    problems: what else wants attention, a sentence each. Raises DeviceError where leave to ask is
    given for a listen-only bus.
    """

    player = None

    def __init__(
        self,
        plan: Plan,
        databases: Mapping[str, Sequence[Database]],
        sources: Sequence[LiveSource] | None = None,
        *,
        allow_requests: bool = False,
        problems: Sequence[str] = (),
    ) -> None:
        self._plan = plan
        self._databases = databases
        self._lock = threading.Lock()
        """Held while the tally changes hands, and while another run begins: a picture is of one or of the other."""
        self._board = Board(plan, databases)
        self._tally = FrameTally()
        self._taker = StatusTaker(plan.bench)
        self._status: LiveStatus | None = None
        self._recorder: Recorder | None = None
        self._kept_walk = KeptWalk()
        self.guide = Guide(self._keep_result)
        self._wanted: list[tuple[Recorder | None, int]] = []
        """What recording has to change to, for the run's thread."""
        self._stop_now = threading.Event()
        self._failure = ""
        self._fresh_lines = True
        self._triggers: Sequence[Logged] = ()
        self._log = TriggerLog()
        self._next_status = self._next_trim = 0
        self._problems = tuple(problems)
        self._unasked = ""
        given = live_sources(plan.bench) if sources is None else sources
        self._uncertainty = stated_uncertainty(plan.bench, given)
        clock = Clock()
        self._asking = Asking(plan, given, clock, allow_requests=allow_requests)
        self._requests: tuple[RequestsNow, ...] = ()
        self._run = LiveRun(
            plan, given, clock, on_lines=self._lines,
            observers=(self._taker.add, self._observe, self._asking.observe),
            uncertainty_ns=self._uncertainty, histories=self._board.histories, asked=self._asking.kept,
        )  # fmt: skip
        self._checks: tuple[CheckResult, ...] = self._run.engine.checks_so_far()
        self._run.start(must_open=False)
        self._thread = threading.Thread(target=self._go_on, name="live", daemon=True)
        self._thread.start()

    @property
    def folder(self) -> Path:
        return Path() if self._recorder is None else self._recorder.path.parent

    def snapshot(self) -> Snapshot:
        run = self._run
        with self._lock:
            t_ns = self._reached()  # before the tally: what it lacks is all later
            tally, board, recording = self._tally.copy(), self._board, self._recorder
            start_ns, downs, checks, triggers = run.start_ns, run.downs, self._checks, self._triggers
        now = run.clock.now_ns()
        tally.turn(now)
        recorder = None
        if recording is not None:
            state = recording.status()
            recorder = RecorderNow(
                state.path.name, state.rows, state.bytes, state.free, state.failure, self._is_closing
            )
        return Snapshot(
            "live", self._plan.bench.vehicle, "live", t_ns, start_ns, now, board.signals(t_ns, tally),
            board.frame_table(tally), checks, triggers[-MOST_TRIGGERS:],
            self._sources(t_ns, tally, board), recorder,
            self._all_problems(board), run.inbox.lost, run.engine.late, is_playing=True, failure=self._failure,
            requests=self._requests, downs=downs.at(FOREVER),
        )  # fmt: skip

    def frame_detail(self, channel: str, identifier: int, is_extended: bool) -> FrameDetail | None:
        with self._lock:
            tally, board = self._tally.copy(), self._board
        return board.frame_detail(tally, channel, identifier, is_extended)

    def path(self, signal: str) -> SignalPath | None:
        with self._lock:
            t_ns = self._reached()
            tally, board, checks = self._tally.copy(), self._board, self._checks
        return board.path(signal, t_ns, tally, checks)

    def start_recording(self, path: str) -> str:
        if not self._thread.is_alive():
            return f"Nothing is listened to any more, so nothing can be recorded: {self._failure or 'it was ended.'}"
        if self._wanted:
            return "Recording is being switched already: wait a moment."
        if self._recorder is not None and not self._recorder.status().failure:
            return f"Recording to {self._recorder.path.name} already."
        target = recording_file(path)
        try:
            start_ns = self._run.clock.now_ns()
            recorder = new_recorder(
                self._plan.bench, self._databases, LiveOptions(record=target), start_ns, self._uncertainty
            )
        except (BusprobeError, OSError) as error:
            return str(error)
        self._wanted.append((recorder, start_ns))
        return ""

    def stop_recording(self) -> str:
        if self._recorder is None:
            return "Nothing is being recorded."
        if self._wanted:
            return "Recording is being switched already: wait a moment."
        self._wanted.append((None, 0))
        return ""

    def wait_closed(self, path: Path) -> None:
        """Wait until a file that was recorded to is closed: before, nobody here may so much as look into it.

        Raises OpenError where it goes on.
        """
        with self._lock:
            recorders = [self._recorder, *(wanted for wanted, _ in self._wanted)]
        for recorder in recorders:
            if recorder is None or recorder.path.absolute() != path.absolute():
                continue
            while recorder.is_alive() or (self._is_closing and self._recorder is recorder):
                if not (self._is_closing or self._stop_now.is_set()):
                    raise OpenError("it is being recorded now.", path=path, hint="Stop that first: r.")
                time.sleep(CLOSED_S)

    @property
    def _is_closing(self) -> bool:
        return any(wanted is None for wanted, _ in self._wanted)

    def _keep_result(self, result: WalkResult) -> str:
        is_recorded = self._kept_walk.add(result)
        recorder = self._recorder
        return "" if is_recorded and (recorder is None or not recorder.status().failure) else NOT_RECORDED

    def stop_loading(self) -> None:
        """Nothing is loaded."""

    def close(self) -> None:
        self._stop_now.set()
        self._thread.join(timeout=5.0)

    # The run's thread.

    def _go_on(self) -> None:
        try:
            while not self._stop_now.is_set():
                self._run.turn()
                self._change_recording()
                if self._fresh_lines:
                    self._fresh_lines = False
                    self._checks = self._run.engine.checks_so_far()
                    self._triggers = self._log.with_entries(self._run.engine.triggers_so_far())
                self._now_and_then()
            self._asking.stop()
            self._run.finish()
        except Exception as error:  # nobody else hears of it
            self._failure = said(error)
        finally:
            self._asking.stop()
            with suppress(Exception):  # of what readers still brought: the failure has been said
                self._run.stop()
            self._kept_walk.record_to(None)
            for recorder in (self._recorder, *(wanted for wanted, _ in self._wanted)):
                if recorder is not None:
                    recorder.stop()

    def _reached(self) -> int:
        """The newest instant of which all is known."""
        start_ns = self._run.start_ns
        return max((self._run.engine.upto_ns or start_ns) - 1, start_ns)

    def _now_and_then(self) -> None:
        now = self._run.clock.now_ns()
        if now >= self._next_status:
            self._next_status = now + 500_000_000
            self._status = self._taker.take(self._run, None, 0)
            self._requests, self._unasked = self._asking.now(now), self._asking.problem(now)
        if now >= self._next_trim:
            self._next_trim = now + 60_000_000_000
            for history in self._board.histories.values():
                history.forget(now - KEPT_NS)

    def _all_problems(self, board: Board) -> tuple[str, ...]:
        return (*self._problems, *board.faults, *((self._unasked,) if self._unasked else ()))

    def _change_recording(self) -> None:
        """Recording switched on or off in mid-run: a new run, a new log, from unknown."""
        while self._wanted:
            recorder, start_ns = self._wanted[0]
            if recorder is None:
                closing = self._recorder
                if closing is not None and self._run.recorder is not None:
                    self._kept_walk.record_to(None)
                    self._run.end_recording()
                    closing.end()
                if closing is not None and closing.is_alive():
                    return  # the run goes on while the file is being closed
                self._switched_to(None)
                continue
            board = Board(self._plan, self._databases)
            with self._lock:
                self._board, self._tally = board, FrameTally()
                self._run.begin(recorder, board.histories, start_ns)
                self._log, self._triggers = TriggerLog(), ()
                self._checks = self._run.engine.checks_so_far()
            self._kept_walk.record_to(recorder)
            self._switched_to(recorder)

    def _switched_to(self, recorder: Recorder | None) -> None:
        """Whoever sees in a picture that it is so may switch again at once."""
        with self._lock:
            self._recorder = recorder
            del self._wanted[0]

    def _observe(self, batch: FrameBatch | InputBatch) -> None:
        with self._lock:
            if isinstance(batch, FrameBatch):
                self._tally.add(batch)
            else:
                self._board.polls.add(batch)

    def _lines(self, lines: Sequence[LogLine]) -> None:
        self._log.add(lines)
        self._fresh_lines = self._fresh_lines or bool(lines)

    def _sources(self, t_ns: int, tally: FrameTally, board: Board) -> tuple[SourceNow, ...]:
        status = self._status
        if status is None:
            return ()
        boxes = {box.name for box in self._plan.bench.boxes}
        heard = tally.heard()
        found = []
        for line in status.sources:
            state = self._run.status[line.name]
            health = state.health
            found.append(
                SourceNow(
                    line.name, "box" if line.name in boxes else "bus", line.is_up, state.rows, line.per_second,
                    line.load, health.errors, health.lost, state.gaps, health.uncertainty_ns,
                    health.period_ns, health.state, state.trouble, health.listening, health.faults,
                    asleep=self._run.engine.is_asleep(line.name),
                    bounce=board.bounce(line.name, t_ns) if line.name in boxes else NO_BOUNCE,
                    sees_bounce=line.name not in boxes or board.periods.sees_bounce(line.name, t_ns),
                    described=0 if line.name in boxes else board.described(line.name),
                    heard_ns=heard.get(line.name),
                )
            )  # fmt: skip
        return tuple(found)
