"""A box that answers slowly is alive: it is not declared down between its answers, and one that is dead is."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from busprobe.bench.load import loads
from busprobe.engine.plan import build
from busprobe.frames import InputBatch
from busprobe.health import Health
from busprobe.session.live import SILENT_S, LiveRun
from busprobe.session.readers import Reader
from busprobe.session.source_status import SourceStatus, holding_back
from busprobe.sources.clock import Clock
from busprobe.sources.live import BATCH_NS
from busprobe.sources.polled_box import Fault, Poll, PolledBox

MS = 1_000_000
WAIT_S, TRIES = 60.0, 10
BENCH = """
[vehicle]
name = "van"
[[inputs]]
name = "box"
driver = "modbus"
port = "none"
period = "{period} ms"
[[inputs.line]]
name = "lamp"
number = 0
[signals]
lamp = {{ from = "box.lamp" }}
"""


class SlowPoller:
    """Takes its time for every answer; from some poll on it gives none."""

    def __init__(self, answer_ms: int, dead_after: int = 1 << 30) -> None:
        self._answer_s = answer_ms / 1000
        self._left = dead_after
        self.polls = 0

    @property
    def is_dead(self) -> bool:
        return self._left < 0

    def connect(self) -> None: ...

    def disconnect(self) -> None: ...

    def poll(self, clock: Clock) -> Poll | Fault:
        self.polls += 1
        begin_ns = clock.now_ns()
        time.sleep(self._answer_s)
        self._left -= 1
        return (
            Poll(begin_ns, clock.now_ns(), 1)
            if self._left >= 0
            else Fault("time-out", "It does not answer.", "Look at it.")
        )


def running(period_ms: int, poller: SlowPoller, is_over: Callable[[LiveRun], bool]) -> LiveRun:
    """A live run of that box alone, once it is over."""
    bench = loads(BENCH.format(period=period_ms))
    run = LiveRun(build(bench, {}), [PolledBox(bench.boxes[0], poller)], Clock())
    run.start()
    end = time.monotonic() + WAIT_S
    while not is_over(run):
        assert time.monotonic() < end
        run.turn()
    run.stop()
    return run


@pytest.mark.parametrize(("period_ms", "answer_ms"), [(80, 60), (10, 45), (10, 130)])
def test_a_slow_box_is_not_down_between_its_answers(period_ms: int, answer_ms: int) -> None:
    """Unless the machine holds its reader up; in one of a few runs it does not."""
    for _ in range(TRIES):
        poller = SlowPoller(answer_ms)
        run = running(period_ms, poller, lambda _: poller.polls > 15)  # noqa: B023
        if not run.states:
            break
    assert (run.status["box"].gaps, run.states) == (0, [])


def test_a_box_that_answers_no_more_is_down() -> None:
    for _ in range(TRIES):
        poller = SlowPoller(20, dead_after=30)
        run = running(10, poller, lambda run: poller.is_dead and bool(run.states))  # noqa: B023
        if len(run.states) == 1:
            break  # else the machine had held its reader up before
    assert [row.condition.value for row in run.states] == ["down"]


@pytest.mark.parametrize("answer_ms", [5, 45, 49])
def test_a_batch_is_not_kept_waiting_for_an_answer_that_comes_after_its_end(answer_ms: int) -> None:
    bench = loads(BENCH.format(period=10))
    source = PolledBox(bench.boxes[0], SlowPoller(answer_ms))
    clock = Clock()
    source.open(clock)
    lengths, polls = [], 0
    for _ in range(8):
        begin_ns = clock.now_ns()
        batch = source.read()
        assert isinstance(batch, InputBatch)
        lengths.append(clock.now_ns() - begin_ns)
        polls += len(batch)
    assert sorted(lengths)[len(lengths) // 4] < BATCH_NS + 20 * MS  # others may have been held up by the machine
    assert polls >= 8


class Told:
    """A source of which only the health is asked."""

    name = "box"

    def __init__(self, health: Health) -> None:
        self._health = health

    def health(self) -> Health:
        return self._health


@pytest.mark.parametrize(
    ("is_polled", "health", "busy_s", "silent_from_s"),
    [
        pytest.param(False, Health(), 0, 0.1, id="a bus: 100 ms"),
        pytest.param(False, Health(uncertainty_ns=300 * MS), 0, 0.1, id="a bus, however it is stamped"),
        pytest.param(False, Health(), 0.3, 0.4, id="on a machine that held the run up for 300 ms"),
        pytest.param(True, Health(period_ns=10 * MS), 0, 0.1, id="a box polled every 10 ms"),
        pytest.param(True, Health(period_ns=60 * MS), 0, 0.18, id="a box that achieves 60 ms: three of them"),
        pytest.param(True, Health(uncertainty_ns=65 * MS), 0, 0.39, id="before that is known: three answers of 130 ms"),
    ],
)
def test_when_a_reader_counts_as_silent(is_polled: bool, health: Health, busy_s: float, silent_from_s: float) -> None:
    reader = Reader(Told(health), Clock(), None)  # type: ignore[arg-type]
    status = SourceStatus(reader, SILENT_S, is_polled, progress_s=50.0)
    assert not status.is_silent(50.0 + silent_from_s - 0.001, busy_s)
    assert status.is_silent(50.0 + silent_from_s + 0.001, busy_s)


@pytest.mark.parametrize(
    ("complete_to", "silent", "told"),
    [
        pytest.param({"a": 5, "b": 9}, "a", ["a"], id="the one waited for"),
        pytest.param({"a": 5, "b": 9}, "b", [], id="nobody waits for it yet"),
        pytest.param({"a": 5, "b": 9}, "ab", ["a", "b"], id="both"),
        pytest.param({"a": 5, "b": 9, "c": 7}, "ab", ["a"], id="evaluation still waits for the third"),
        pytest.param({"a": None, "b": 9}, "a", ["a"], id="it has given nothing"),
        pytest.param({}, "", [], id="no source"),
    ],
)
def test_a_silent_source_is_left_behind_where_evaluation_would_wait_for_it(
    complete_to: dict[str, int | None], silent: str, told: list[str]
) -> None:
    now_s = 50.0
    status = {}
    for name, ns in complete_to.items():
        reader = Reader(Told(Health()), Clock(), None)  # type: ignore[arg-type]
        progress_s = now_s - (0.2 if name in silent else 0.0)
        status[name] = SourceStatus(reader, SILENT_S, is_up=True, complete_to_ns=ns, progress_s=progress_s)
    assert holding_back(status, now_s, 0.0) == told
