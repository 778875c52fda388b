"""Damage of a recording in words, and what each command and the dashboard make of such a file."""

from __future__ import annotations

import os
import shutil
import time
from contextlib import closing
from pathlib import Path

import pytest

from busprobe.errors import FormatError, Problems
from busprobe.recording.damage import Damage, Hole
from busprobe.recording.read import open_recording
from busprobe.results import Verdict
from busprobe.session.attention import attention
from busprobe.session.damaged import damage_notes
from busprobe.session.decoding import decode
from busprobe.session.opening import open_source
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.surveying import survey
from busprobe.session.verifying import verify

S = 1_000_000_000
ROOT = Path(__file__).parents[2]
BENCH = ROOT / "dbc_samples" / "patrol_van.toml"
WAIT_S = 60.0
END = " Nothing is written to the file: keep it, and look for another copy."


@pytest.fixture(scope="module")
def damaged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The drive with five faults, and a block of its frames overwritten."""
    path = tmp_path_factory.mktemp("damaged") / "damaged.duckdb"
    shutil.copy(ROOT / "recordings" / "five_faults.duckdb", path)
    with path.open("r+b") as stream:
        stream.seek(path.stat().st_size // 2)
        stream.write(os.urandom(4_096))
    return path


TOLD = {
    "a hole": (
        Damage((Hole("frames", 2_048, 5 * S, 9 * S),), {"frames": 100_000, "inputs": 7}, ()),
        [
            "The recording is damaged: 2,048 of 100,000 frames cannot be read, from 4.000 s to 8.000 s (4 s); "
            "what depends on them is unknown there." + END
        ],
    ),
    "to the end": (
        Damage((Hole("inputs", 1, 5 * S, 6 * S), Hole("inputs", 3, 9 * S, None)), {"frames": 9, "inputs": 70}, ()),
        [
            "The recording is damaged: 4 of 70 polls cannot be read, from 4.000 s to 5.000 s (1 s), from 8.000 s to "
            "the end; what depends on them is unknown there." + END
        ],
    ),
    "a table": (
        Damage((Hole("frames", 0, S, None),), {"frames": 0, "inputs": 70}, ("about", "bench")),
        [
            (
                "The recording is damaged: no frame can be read, from 0.000 s to the end; what depends on them is "
                "unknown there."
            ),
            (
                "The recording is damaged: not all can be read of when it began and what it is of; nor of the bench "
                "file in it: give one with --bench." + END
            ),
        ],
    ),
    "the log beside it": (
        Damage((), {}, (), True),
        ["The log beside the recording is damaged: what came after 20.000 s, 30 s at most, cannot be read." + END],
    ),
}


@pytest.mark.parametrize("case", TOLD)
def test_words(case: str) -> None:
    damage, told = TOLD[case]
    assert damage_notes(damage, S, 21 * S) == told


def test_the_sound_part_is_verified(damaged: Path) -> None:
    report = verify(damaged, BENCH)
    assert report.problems.count == 1
    assert "The recording is damaged: 10,240 of 153,276 frames cannot be read, from 266." in str(report.problems.items)
    whole = verify(ROOT / "recordings" / "five_faults.duckdb", BENCH)
    found = {check.name: check.verdict for check in report.checks}
    failed = [check.name for check in whole.checks if check.verdict is Verdict.FAIL]
    assert failed
    assert all(found[name] is Verdict.FAIL for name in failed)
    assert any("body was down from 266." in note for note in report.notes)
    assert report.frames == 153_276 - 10_240


def test_survey_and_decode_take_it_too(damaged: Path, tmp_path: Path) -> None:
    assert survey(damaged).problems.count == 1
    done = decode(damaged, [BENCH.with_suffix(".dbc")], tmp_path / "out.csv")
    assert done.problems.count == 1
    assert done.rows > 100_000


def test_strict_stops(damaged: Path) -> None:
    source = open_source(damaged, problems=Problems(strict=True))
    with closing(source), pytest.raises(FormatError, match="cannot be read"):
        list(source.batches())


def test_it_is_looked_through_when_it_is_read(damaged: Path) -> None:
    """Opening a long one takes no longer; until then nothing is found where it is damaged."""
    with open_recording(damaged, at_once=True) as recording:
        assert recording.damage is None
        assert recording.start_ns is not None
        at = recording.start_ns + 280 * S
        assert len(recording.frames_between(at, at + S)) == 0
        recording.look_through()
        assert recording.damage is not None
        assert recording.frame_time_next_to(at, 1) == recording.damage.holes[0].end_ns
        assert len(recording.frames_between(at, at + 60 * S)) > 1_000


def test_the_dashboard_shows_it_with_a_gap(damaged: Path) -> None:
    scene = open_scene(damaged)
    assert isinstance(scene, ReplayScene)
    try:
        deadline = time.monotonic() + WAIT_S
        while scene.snapshot().loaded < 1.0:
            assert time.monotonic() < deadline
            assert not scene.snapshot().failure
            time.sleep(0.02)
        (problem,) = [p for p in scene.snapshot().problems if "damaged" in p]
        assert problem.endswith(END.strip())
        gap = scene.player.step_mark(1, "gap")
        assert gap is not None
        assert gap.text == "body down: the recording is damaged here"
        scene.player.seek(gap.t_ns + 3 * S)
        said = {s.text for s in scene.snapshot().signals if s.source.startswith("body.")}
        assert said == {"unknown (recording damaged)"}
        told = [one.what for one in attention(scene.snapshot()) if one.where == "body"]
        end = "because the recording is damaged there. Look for another copy of it."
        assert any(text.startswith("gear, speed") and text.endswith(end) for text in told), told
        assert "lasts until you leave" in scene.player.add_marker("here")
        assert [m.text for m in scene.player.marks if m.kind == "marker"] == ["here"]
    finally:
        scene.close()
