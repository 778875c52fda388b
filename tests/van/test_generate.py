"""Batches of a cycle: order, completeness, repeatability; and the steps and noise beneath."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from busprobe.frames import Condition, FrameBatch, InputBatch, StateBatch
from busprobe.van import noise
from busprobe.van.faults import ALL_FAULTS
from busprobe.van.generate import START_NS, Cycle, cycle, generate
from busprobe.van.script import CUES, LENGTH_S, steps_of_script
from busprobe.van.steps import combine, delayed, flashes, steps_of
from busprobe.van.world import true_speed


def digest(made: Cycle) -> str:
    arrays = (made.frames.t_ns, made.frames.identifier, made.frames.payload, made.polls.t_ns, made.polls.mask,
              made.polls.analogue)  # fmt: skip
    return hashlib.sha256(b"".join(np.ascontiguousarray(a).tobytes() for a in arrays)).hexdigest()


def test_the_same_seed_gives_the_same_data():
    assert digest(cycle(5, ALL_FAULTS)) == digest(cycle(5, ALL_FAULTS))


def test_another_seed_gives_other_data(good):
    assert digest(cycle(2)) != digest(good)


def test_batches_come_in_order_and_say_how_far_they_go(good):
    batches = list(generate(1))
    assert len(batches) == 3 * LENGTH_S
    first = batches[0]
    assert isinstance(first, StateBatch)
    assert [(r.source, r.condition) for r in first.rows] == [("body", Condition.UP), ("box", Condition.UP)]
    newest = 0
    for batch in batches:
        assert batch.complete_to_ns is not None
        assert batch.complete_to_ns >= newest
        newest = batch.complete_to_ns
        if not isinstance(batch, StateBatch) and len(batch):
            assert newest - 1_000_000_000 <= batch.t_ns[0]
            assert batch.t_ns[-1] < newest
            assert (np.diff(batch.t_ns) > 0).all()
    assert newest == START_NS + LENGTH_S * 1_000_000_000
    assert sum(len(b) for b in batches if isinstance(b, FrameBatch)) == len(good.frames.t_ns)
    assert sum(len(b) for b in batches if isinstance(b, InputBatch)) == len(good.polls.t_ns)


def test_start_is_an_early_winter_morning():
    assert np.datetime64(START_NS, "ns") == np.datetime64("2026-01-14T05:30:00")


@pytest.mark.parametrize("seed", range(1, 13))
def test_the_script_survives_its_slack(seed):
    """Whatever the seed, every act of the script changes something, in the order of the table."""
    made = steps_of_script(seed)
    acts: dict[str, list[tuple[float, int]]] = {}
    for cue in CUES:
        for signal, after_s, value in cue.acts:
            acts.setdefault(signal, []).append((cue.at_s + after_s, value))
    for signal, rows in acts.items():
        assert [value for _, value in sorted(rows)] == made[signal].values[1:].tolist(), signal


@pytest.mark.parametrize("seed", range(1, 13))
def test_gears_change_while_the_van_stands(seed):
    assert (true_speed(steps_of_script(seed)["gear"].t_ns) == 0).all()


def test_noise_is_uniform_and_repeatable():
    drawn = noise.uniform(1, "topic", 20_000, 2.0, 4.0)
    assert (drawn >= 2.0).all()
    assert (drawn < 4.0).all()
    assert drawn.mean() == pytest.approx(3.0, abs=0.02)
    assert np.array_equal(noise.uniform(1, "topic", 5, 2.0, 4.0), drawn[:5])
    assert not np.array_equal(noise.uniform(1, "other", 5, 2.0, 4.0), drawn[:5])
    assert abs(np.corrcoef(drawn[1:], drawn[:-1])[0, 1]) < 0.03


DELAYED = {
    "on and off": ([(100, 1), (200, 0)], 30, 10, [(0, 0), (130, 1), (210, 0)]),
    "too short to be seen": ([(100, 1), (120, 0)], 30, 10, [(0, 0)]),
    "exactly its delay is too short": ([(100, 1), (130, 0)], 30, 10, [(0, 0)]),
    "a short gap is not seen": ([(100, 1), (200, 0), (205, 1)], 30, 10, [(0, 0), (130, 1)]),
}


@pytest.mark.parametrize(("points", "on", "off", "expected"), DELAYED.values(), ids=DELAYED)
def test_delayed(points, on, off, expected):
    condition = steps_of(points)
    out = delayed(condition, on, np.full(len(points), float(off)))
    assert list(zip(out.t_ns.tolist(), out.values.tolist(), strict=True)) == expected


def test_flashes_stop_at_once():
    lamp = flashes(steps_of([(100, 1), (245, 0)]), 60, ((0, 20), (30, 50)), np.zeros(1), 1000)
    expected = [
        (0, 0),
        (100, 1),
        (120, 0),
        (130, 1),
        (150, 0),
        (160, 1),
        (180, 0),
        (190, 1),
        (210, 0),
        (220, 1),
        (240, 0),
    ]
    assert list(zip(lamp.t_ns.tolist(), lamp.values.tolist(), strict=True)) == expected


def test_combine():
    both = combine(lambda a, b: (a != 0) & (b == 2), steps_of([(10, 1), (50, 0)]), steps_of([(20, 2), (70, 1)]))
    assert list(zip(both.t_ns.tolist(), both.values.tolist(), strict=True)) == [(0, 0), (20, 1), (50, 0)]
