"""How often input lines are polled, and what that means for bounce: of boxes, lines, and what is made from them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from busprobe.frames import InputBatch
from busprobe.session.line_path import line_stages
from busprobe.session.poll_periods import PollPeriods
from busprobe.session.polls import Polls
from busprobe.session.snapshot import Kind, SignalNow, Stage
from busprobe.session.verifying import load_plan

MS = 1_000_000
BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[inputs]]
name = "fast"
driver = "text-lines"
port = "COM3"
period = "1 ms"
baudrate = 1000000
[[inputs.line]]
name = "door_pin"
number = 0
debounce = "20 ms"
[[inputs.line]]
name = "plain_pin"
number = 1
[[inputs]]
name = "slow"
driver = "text-lines"
port = "COM4"
period = "10 ms"
[[inputs.line]]
name = "horn_pin"
number = 0
[signals]
door = { from = "fast.door_pin" }
plain = { from = "fast.plain_pin" }
horn = { from = "slow.horn_pin" }
either = { from = ["fast.door_pin", "slow.horn_pin"] }
both = { when = "door and horn" }
loud = { when = "both or plain" }
quiet = { when = "not door" }
"""


class Lines:
    """The bench above, and polls of its boxes."""

    def __init__(self, folder: Path) -> None:
        path = folder / "lines.toml"
        path.write_text(BENCH)
        self.plan, _ = load_plan(path)
        self.polls = Polls()
        self.periods = PollPeriods(self.plan, self.polls)

    def poll(self, box: str, every_ms: float, until_ms: int = 1000) -> None:
        times = np.arange(0, until_ms * MS, round(every_ms * MS), dtype=np.int64)
        self.polls.add(InputBatch(box, times, np.zeros(len(times), np.uint64), None))

    def debounce(self, name: str, poll_ms: float | None) -> Stage:
        """The stage of a line's signal that is polled so often."""
        return self.stages(name, poll_ms)[-1]

    def stages(self, name: str, poll_ms: float | None) -> list[Stage]:
        source = self.plan.signals[name].sources[0]
        now = SignalNow(name, None, Kind.LINE, "", 0, True, 0.0, "off", None, 0, 0, None, 0)
        poll_ns = None if poll_ms is None else round(poll_ms * MS)
        return line_stages(source, source.tap, replace(now, poll_ns=poll_ns), None, 0)


@pytest.fixture
def lines(tmp_path: Path) -> Lines:
    return Lines(tmp_path)


def test_before_there_are_polls_the_bench_file_is_believed(lines: Lines) -> None:
    assert (lines.periods.of_box("fast", 0), lines.periods.of_box("slow", 0)) == (MS, 10 * MS)
    assert (lines.periods.sees_bounce("fast", 0), lines.periods.sees_bounce("slow", 0)) == (True, False)


def test_then_what_is_achieved_counts(lines: Lines) -> None:
    lines.poll("fast", 6)
    lines.poll("slow", 1.5)
    assert lines.periods.of_box("fast", 500 * MS) == 6 * MS
    assert (lines.periods.sees_bounce("fast", 500 * MS), lines.periods.sees_bounce("slow", 500 * MS)) == (False, True)


def test_a_signal_is_as_slow_as_the_slowest_box_that_it_comes_from(lines: Lines) -> None:
    lines.poll("fast", 1.25)
    assert lines.periods.of_signals(500 * MS) == {
        "door": 1_250_000, "plain": 1_250_000, "horn": 10 * MS, "either": 10 * MS,
        "both": 10 * MS, "loud": 10 * MS, "quiet": 1_250_000,
    }  # fmt: skip


STAGES = [
    ("polled fast", "door", 1, "a burst of transitions less than 20 ms apart counts once"),
    ("polled slowly", "door", 10, "bounce not measurable; a burst, gaps < 20 ms, counts once"),
    ("not known how", "door", None, "a burst of transitions less than 20 ms apart counts once"),
    ("no debounce, fast", "plain", 1, "none: every poll counts"),
    ("no debounce, slowly", "plain", 10, "none: every poll counts; bounce not measurable at this poll period"),
]


@pytest.mark.parametrize(("name", "poll_ms", "detail"), [row[1:] for row in STAGES], ids=[row[0] for row in STAGES])
def test_the_debounce_stage(lines: Lines, name: str, poll_ms: float | None, detail: str) -> None:
    assert lines.debounce(name, poll_ms).detail == detail


WIRES = [(1, "polled every 1 ms"), (1.1, "polled every 1 ms"), (6.04, "polled every 6.04 ms, not every 1 ms")]


@pytest.mark.parametrize(("poll_ms", "detail"), WIRES)
def test_the_wire_says_how_often_it_is_really_polled(lines: Lines, poll_ms: float, detail: str) -> None:
    assert lines.stages("door", poll_ms)[0].detail == detail
