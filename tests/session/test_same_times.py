"""`survey` and `verify` of one recording count from the same instant: its start."""

from pathlib import Path

import numpy as np

from busprobe.frames import Condition, FrameBatch, SourceState, StateBatch
from busprobe.recording.write import RecordingWriter
from busprobe.report.survey_json import survey_json
from busprobe.session.surveying import survey
from busprobe.session.verifying import verify

START_NS = 1_768_374_000_000_000_000
MS = 1_000_000
BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
"""


def frames(*ms: int) -> FrameBatch:
    count = len(ms)
    return FrameBatch(
        START_NS + np.array(ms, np.int64) * MS, ("body",), np.zeros(count, np.uint8),
        np.full(count, 0x123, np.uint32), np.zeros(count, np.uint8), np.full(count, 8, np.uint8),
        np.zeros(count, np.uint64), complete_to_ns=START_NS + ms[-1] * MS,
    )  # fmt: skip


def test_both_count_from_the_start_of_the_recording(tmp_path: Path) -> None:
    """It began 154 ms before the first frame, and went on after the last; the bus was down between."""
    path = tmp_path / "van.duckdb"
    with RecordingWriter(path, about={"start_ns": str(START_NS)}, bench={}) as writer:
        writer.add(frames(154, 200, 300))
        down = SourceState(START_NS + 3466 * MS, "body", Condition.DOWN)
        up = SourceState(START_NS + 5091 * MS, "body", Condition.UP)
        writer.add(StateBatch((down, up), START_NS + 5091 * MS))
        writer.add(frames(5200, 10_000))
        writer.add(StateBatch((), START_NS + 10_786 * MS))
    bench = tmp_path / "van.toml"
    bench.write_text(BENCH)
    surveyed, verified = survey(path), verify(path, bench)
    assert (surveyed.result.start_ns, surveyed.result.end_ns) == (verified.start_ns, verified.end_ns)
    assert verified.end_ns - verified.start_ns == 10_786 * MS
    told = survey_json(surveyed)
    states = told["source_states"]
    assert isinstance(states, list)
    assert [state["t_s"] for state in states] == [3.466, 5.091]
    assert told["duration_s"] == 10.786
    assert "from 3.466 s to 5.091 s" in surveyed.notes[-1]
