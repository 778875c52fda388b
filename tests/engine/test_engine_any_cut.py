"""However the data are cut and dealt, the log and the results are the same.

Frames of two channels, polls and source states are drawn at random, cut into batches of any
size, dealt in any order that keeps each source's own, and evaluated whenever it suits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import numpy as np
from drive import GEARS, HEAD, MS, check, deal, ns, plan, trigger
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.engine.engine import Engine, Results
from busprobe.frames import (
    ERROR,
    LATE,
    SENT,
    Batch,
    Condition,
    FrameBatch,
    InputBatch,
    SourceState,
    StateBatch,
)

BENCH = (
    HEAD.replace(
        '[[bus]]\nname = "body"\n', '[[bus]]\nname = "body"\nuncertainty = "3 ms"\n[[bus]]\nname = "chassis"\n'
    )
    + """
[obd]
bus = "chassis"
[signals]
gear = { from = "body.Transmission.SelectedGear", values = { Park = "P", Reverse = "R", Neutral = "N", Drive = "D" } }
brake = { from = "body.Brake.PedalSwitch" }
rear_door = { from = "body.Doors.Rear" }
speed = { from = ["body.Wheels.Speed", "chassis.Wheels.Speed", "obd.0D"], unit = "km/h" }
water = { from = "chassis.Tanks.WaterLevel" }
salt = { from = "chassis.Tanks.SaltLevel", max_age = "700 ms" }
lamp = { from = "box.lamp_wire" }
switch = { from = "box.switch_wire" }
feed = { from = "box.feed_wire" }
battery = { from = "box.battery_wire", unit = "mV" }
moving = { when = "speed", above = "8 km/h", below_again = "5 km/h" }
"""
)
RULES = "".join(
    [
        check('when = "gear == \'R\'"\nexpect = "lamp"\nwithin = "300 ms"\nhold = "while when"', "reverse"),
        check('when = "switch"\nexpect = "lamp"\nwithin = "200 ms"\nhold = "400 ms"\nsettle = "30 ms"', "switch"),
        check('follows = "lamp"\nwhen = "brake"\non_within = "150 ms"\noff_within = "150 ms"', "follows"),
        check('when = "changes(rear_door)"\nexpect = "not feed"\nwithin = "500 ms"\nnot_before = "50 ms"', "door"),
        check('never = "lamp and speed > \'5 mph\'"\nsettle = "50 ms"', "never"),
        check('always = "switch or water > \'10 %\'"\ngiven = "moving"', "given"),
        check('when = "held(lamp, \'60 ms\')"\nexpect = "feed"\nwithin = "100 ms"\nhold = "100 ms"', "held"),
        check('never = "flashing(lamp) and brake"', "flashing"),
        check('always = "flash_rate(lamp) < \'400\'"\nsettle = "1 s"', "rate"),
        check('always = "in_step(lamp, switch, \'40 ms\')"\nsettle = "200 ms"', "in step"),
        check('always = "flash_rate(rear_door) < \'300\'"\nsettle = "1 s"', "door rate"),
        check("always = \"age(salt) < '900 ms' and known(gear)\"", "age"),
        check('never = "lamp and False"', "never false"),
        check('always = "switch and False"\nsettle = "100 ms"', "always false"),
        check('never = "lamp and brake"\ngiven = "switch or True"', "given all along"),
        trigger("changes(gear)", "gear"),
        trigger("rises(switch) and not brake", "switch"),
        trigger("rises(moving)", "moving"),
        trigger("falls(battery > '12 V') and known(water)", "battery"),
        trigger("held(rear_door, '300 ms')", "door"),
        trigger("changes(water)", "water"),
    ]
)
PLAN = plan(RULES, BENCH)
CHANNELS = ("body", "chassis")

Drive = dict[str, Batch]


# Data at random. Times are steps of 10 ms with a little beside, so that limits are met exactly.


def frame_batch(random: Random, end: int) -> FrameBatch:
    """Messages sent every so often, with values that change now and then; gaps, sleeps, late and error frames."""
    rows: list[tuple[int, int, int, int, bytes]] = []
    asleep = random.randrange(500, 3000) if random.random() < 0.4 else end
    doors = random.choice([40, 450])
    for channel, identifier, every in (
        (0, 256, 100), (0, 272, 100), (0, 288, 90), (0, 320, doors), (1, 288, 110), (1, 336, 100), (1, 0x7E8, 500),
    ):  # fmt: skip
        value = 0
        gaps = [
            (a, a + random.choice([200, 600, 2500])) for a in random.sample(range(0, 6000, 100), random.randrange(3))
        ]
        if channel == 0 or random.random() < 0.5:
            gaps.append((asleep, asleep + 2300))
        for t in range(random.choice([0, 0, 300, 2500]), end, every):
            if random.random() < 0.2:
                value = random.randrange(16)
            if any(a <= t < b for a, b in gaps):
                continue
            stamp = ns(t + random.choice([0, 0, 10, 20]))
            flag = random.choices([0, ERROR, LATE, SENT], [60, 1, 1, 1])[0]
            rows.append((stamp, channel, identifier, flag, _payload(identifier, value, t)))
            if random.random() < 0.05:
                rows.append((stamp, channel, identifier, 0, _payload(identifier, value + 1, t)))
    rows.sort(key=lambda r: r[0])
    # Now and then a stamp steps back a little.
    stamps = [r[0] - (15 * MS if random.random() < 0.03 else 0) for r in rows]
    return FrameBatch(
        np.array(stamps, np.int64),
        CHANNELS,
        np.array([r[1] for r in rows], np.uint8),
        np.array([r[2] for r in rows], np.uint32),
        np.array([r[3] for r in rows], np.uint8),
        np.array([len(r[4]) for r in rows], np.uint8),
        np.array([int.from_bytes(r[4], "little") for r in rows], np.uint64),
    )


def _payload(identifier: int, value: int, t: int) -> bytes:
    match identifier:
        case 256:
            return bytes([list(GEARS.values())[value % 5], 0])
        case 288:
            return (value * 120).to_bytes(2, "little")
        case 336:
            return bytes([t // 100 % 2, value * 3])
        case 0x7E8:
            return bytes([3, 0x41, 0x0D, value, 0, 0, 0, 0])
    return bytes([value % 4])


def poll_batch(random: Random, end: int) -> InputBatch:
    """Polls every 10 ms or so of lines that bounce, flash and stay."""
    times: list[int] = []
    t = random.choice([0, 0, 700])
    while t < end:
        times.append(ns(t) + random.choice([0, 0, 0, 1]))
        t += random.choices([10, 20, 11, 350], [40, 4, 4, 0.2])[0]
    masks = np.zeros(len(times), np.uint64)
    for line in range(2):
        level, until = 0, 0
        for k, at in enumerate(times):
            if at >= until:
                level ^= 1
                until = at + ns(random.choices([10, 20, 40, 250, 400, 1500], [6, 2, 2, 3, 3, 2])[0])
            masks[k] |= np.uint64(level << line)
    moves = [[random.choice([-700, 0, 0, 700]), random.choice([-90, 0, 90])] for _ in times]
    millivolts = np.cumsum(np.array(moves, np.int32).reshape(-1, 2), 0, np.int32) + np.array([7000, 12000], np.int32)
    late = np.array([random.random() < 0.01 for _ in times], np.bool_)
    return InputBatch("box", np.array(times, np.int64), masks, millivolts, late)


def drive(seed: int, end: int) -> Drive:
    random = Random(seed)
    turns = sorted(random.sample(range(0, end, 10), random.randrange(5)))
    source = random.choice(["body", "chassis", "box"])
    states = tuple(SourceState(ns(t), source, (Condition.DOWN, Condition.UP)[k % 2]) for k, t in enumerate(turns))
    return {"frames": frame_batch(random, end), "box": poll_batch(random, end), "states": StateBatch(states)}


# Cuts at random.


def cut_at(batch: Batch, sizes: Sequence[int], end_ns: int) -> list[Batch]:
    """The batch in pieces of these sizes over and over, each complete to the least time still to come."""
    rows = batch.rows if isinstance(batch, StateBatch) else batch.t_ns
    t_ns = np.array([r.t_ns for r in batch.rows] if isinstance(batch, StateBatch) else batch.t_ns, np.int64)
    out: list[Batch] = []
    start = 0
    while start < len(rows) or not out:
        stop = min(start + sizes[len(out) % len(sizes)], len(rows))
        piece = StateBatch(batch.rows[start:stop]) if isinstance(batch, StateBatch) else batch.cut(start, stop)
        out.append(replace(piece, complete_to_ns=min([end_ns, *t_ns[stop:].tolist()])))
        start = stop
    return out


def whole(data: Drive, end: int) -> Results:
    engine = Engine(PLAN, list(data), by_channel=True)
    for name, batch in data.items():
        engine.push(name, replace(batch, complete_to_ns=ns(end)))
    return engine.finish()


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 2**32),
    length=st.integers(1000, 6000),
    sizes=st.lists(st.integers(1, 120), min_size=1, max_size=6),
    order=st.integers(0, 2**32),
    often=st.floats(0, 1),
)
def test_any_cut_and_any_order(seed: int, length: int, sizes: list[int], order: int, often: float) -> None:
    """The log, the triggers and the checks of all pieces are those of the whole."""
    data, end = drive(seed, length), length + 100
    expected = whole(data, end)
    random = Random(order)
    engine = Engine(PLAN, list(data), by_channel=True)
    lines = []
    for name, batch in deal({name: cut_at(b, sizes, ns(end)) for name, b in data.items()}, random):
        engine.push(name, batch)
        if random.random() < often:
            lines += engine.advance()
    results = engine.finish()
    assert results.log == expected.log
    assert results.triggers == expected.triggers
    for found, wanted in zip(results.checks, expected.checks, strict=True):
        assert found == wanted, wanted.name
    assert results == expected
    assert tuple(lines) == expected.log[: len(lines)]
