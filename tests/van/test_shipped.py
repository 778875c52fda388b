"""The recordings in recordings/ are what `python -m busprobe.van.make` writes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from busprobe.frames import FrameBatch, InputBatch, StateBatch, join_frames
from busprobe.recording.read import open_recording
from busprobe.van import make
from busprobe.van.box import BOX
from busprobe.van.catalogue import BUS
from busprobe.van.generate import START_NS, cycle
from busprobe.van.samples import BENCH_FILE, DATABASE_FILE, VEHICLE

TOP = Path(__file__).parents[2]


@pytest.fixture(params=make.SHIPPED)
def shipped(request):
    with open_recording(TOP / "recordings" / request.param) as recording:
        yield request.param, recording


def test_a_shipped_recording_holds_the_cycle_and_nothing_else(shipped):
    name, recording = shipped
    made = cycle(*make.SHIPPED[name])
    batches = list(recording.batches())
    frames = join_frames([b for b in batches if isinstance(b, FrameBatch)])
    inputs = [b for b in batches if isinstance(b, InputBatch)]
    assert np.array_equal(frames.t_ns - START_NS, made.frames.t_ns)
    for field in ("identifier", "flags", "length", "payload"):
        assert np.array_equal(getattr(frames, field), getattr(made.frames, field)), field
    assert np.array_equal(np.concatenate([b.t_ns for b in inputs]) - START_NS, made.polls.t_ns)
    assert np.array_equal(np.concatenate([b.mask for b in inputs]), made.polls.mask)
    assert np.array_equal(np.concatenate([b.analogue for b in inputs]), made.polls.analogue)
    states = [(row.source, row.condition.value) for b in batches if isinstance(b, StateBatch) for row in b.rows]
    assert states == [(BUS, "up"), (BOX, "up")]


def test_a_shipped_recording_carries_its_bench_file(shipped):
    _, recording = shipped
    for file in (BENCH_FILE, DATABASE_FILE):
        assert recording.bench[file] == (TOP / "dbc_samples" / file).read_text(encoding="utf-8")
    assert recording.about["vehicle"] == VEHICLE
    assert recording.start_ns == START_NS


@pytest.mark.parametrize("name", make.SHIPPED)
def test_a_shipped_recording_is_small(name):
    assert (TOP / "recordings" / name).stat().st_size < 3_000_000


def test_make_writes_the_samples(tmp_path):
    make.write_samples(tmp_path)
    for file in (BENCH_FILE, DATABASE_FILE):
        assert (tmp_path / file).read_bytes() == (TOP / "dbc_samples" / file).read_bytes()


def test_make_writes_the_recordings(tmp_path):
    assert make.main([str(tmp_path)]) == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(make.SHIPPED)


def test_make_without_a_directory_says_how_to_call_it(capsys):
    assert make.main([]) == 2
    assert capsys.readouterr().err == "Usage: python -m busprobe.van.make RECORDINGS [SAMPLES]\n"
