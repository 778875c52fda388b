"""Frames on the bus: lengths, order, periods, counters, checksums, sleep."""

from __future__ import annotations

import numpy as np
import pytest

from busprobe.van import traffic
from busprobe.van.catalogue import MESSAGES, SENDERS, SLEEP_NS, WAKE_NS
from busprobe.van.spec import Guard
from busprobe.van.steps import ns
from busprobe.van.traffic import BIT_NS, NO_MESSAGE, Traffic
from busprobe.van.world import world_of

# ISO 11898-1 fields with most stuff bits after Davis et al. 2007, with three bits of space:
# identifier, length, bits.
LONGEST = [
    (0x7FF, 0, 55), (0x7FF, 1, 65), (0x7FF, 2, 75), (0x7FF, 3, 85), (0x7FF, 4, 95), (0x7FF, 5, 105),
    (0x7FF, 6, 115), (0x7FF, 7, 125), (0x7FF, 8, 135),
    (0x800, 0, 80), (0x800, 1, 90), (0x800, 2, 100), (0x800, 3, 110), (0x800, 4, 120), (0x800, 5, 130),
    (0x800, 6, 140), (0x800, 7, 150), (0x800, 8, 160),
]  # fmt: skip


def some(*rows: tuple[int, int, int]) -> Traffic:
    """Frames of (ready in ns, identifier, length)."""
    table = np.array(rows, np.int64)
    return Traffic(
        table[:, 0],
        np.full(len(rows), NO_MESSAGE),
        table[:, 1].astype(np.uint32),
        table[:, 2].astype(np.uint8),
        np.zeros(len(rows), np.uint64),
    )


@pytest.mark.parametrize(("identifier", "length", "bits"), LONGEST)
def test_longest_frame(identifier, length, bits):
    assert traffic.wire_ns(some((0, identifier, length))).tolist() == [bits * BIT_NS]


ARBITRATION = {
    "an idle bus takes what comes": ([(0, 0x300, 8), (500_000, 0x100, 8)], [0x300, 0x100]),
    "the most urgent of those that wait goes first": (
        [(0, 0x300, 8), (1000, 0x400, 8), (2000, 0x100, 8), (3000, 0x200, 8)],
        [0x300, 0x100, 0x200, 0x400],
    ),
    "one that comes too late waits": (
        [(0, 0x300, 8), (1000, 0x400, 8), (280_000, 0x100, 8)],
        [0x300, 0x400, 0x100],
    ),
    "at once: the least identifier": ([(0, 0x200, 8), (0, 0x100, 8), (0, 0x300, 8)], [0x100, 0x200, 0x300]),
    "11 bits before 29 with the same first 11": (
        [(0, 0x050, 8), (1, 0x100 << 18, 8), (1, 0x100, 8)],
        [0x050, 0x100, 0x100 << 18],
    ),
    "29 bits may be more urgent than 11": (
        [(0, 0x050, 8), (1, 0x101, 8), (1, 0x100 << 18, 8)],
        [0x050, 0x100 << 18, 0x101],
    ),
}


@pytest.mark.parametrize(("rows", "order"), ARBITRATION.values(), ids=ARBITRATION)
def test_arbitration(rows, order):
    assert traffic.on_the_wire(some(*rows)).identifier.tolist() == order


def test_no_frame_overlaps_the_next(good):
    """The last bit of a frame is at least that frame's length after the last bit of the one before."""
    frames = good.frames
    shortest = np.where(frames.identifier > 0x7FF, 64, 44) + 8 * frames.length.astype(np.int64) + 3
    assert (np.diff(frames.t_ns) >= shortest[1:] * BIT_NS).all()


def test_bus_load_is_that_of_a_quiet_body_bus(good):
    awake_s = (SLEEP_NS - ns(SENDERS["ABS"][1])) / 1e9
    running = good.frames.t_ns >= ns(SENDERS["ABS"][1])
    load = traffic.wire_ns(good.frames)[running].sum() / 1e9 / awake_s
    rate = running.sum() / awake_s
    assert 0.04 < load < 0.12
    assert 250 < rate < 420


@pytest.mark.parametrize("message", [m for m in MESSAGES if m.send_type == "Cyclic"], ids=lambda m: m.name)
def test_cyclic_messages_keep_their_period(message, good):
    gaps = np.diff(good.frames.stamps(message.name)) / 1e6
    assert np.median(gaps) == pytest.approx(message.cycle_ms, rel=0.01)
    # 2 % of jitter, at most 1 ms, and what a frame may wait for the bus.
    slack = min(1.0, message.cycle_ms * 0.02) + 2.5
    assert (np.abs(gaps - message.cycle_ms) < slack).all()


@pytest.mark.parametrize(
    ("message", "quantity"),
    [("DoorStatus", "driver_door"), ("LockStatus", "locked"), ("TurnSignals", "lamp_left"), ("LampStatus", "brake")],
)
def test_changes_are_sent_at_once(message, quantity, good):
    stamps = good.frames.stamps(message)
    changes = world_of(1).steps[quantity].t_ns[1:]
    changes = changes[(changes > WAKE_NS + ns(0.01)) & (changes < SLEEP_NS - ns(0.01))]
    late = stamps[np.searchsorted(stamps, changes)] - changes
    assert len(changes)
    assert (late < ns(0.008)).all()


def test_a_message_sent_on_change_only_is_otherwise_silent(good):
    assert len(good.frames.stamps("DoorStatus")) == 5
    assert len(good.frames.stamps("LockStatus")) == 3


def test_the_bus_wakes_and_sleeps(good):
    t_ns = good.frames.t_ns
    assert ns(6.0) < t_ns[0] < ns(6.01)
    assert SLEEP_NS - ns(0.1) < t_ns[-1] < SLEEP_NS + ns(0.01)
    assert np.diff(t_ns).max() < ns(0.3)


def test_speed_is_on_the_bus_first_as_a_diagnostic_answer(good):
    """Until the brake unit sends, only the answers to PID 0D say how fast the van is."""
    answers = good.frames.t_ns[(good.frames.identifier == 0x7E8) & (good.frames.payload & np.uint64(0xFFFF) == 0x0910)]
    assert answers[0] < good.frames.stamps("WheelSpeed")[0] - ns(1.5)


COUNTED = [(m, s) for m in MESSAGES for s in m.signals if s.source is Guard.COUNTER]


@pytest.mark.parametrize(("message", "signal"), COUNTED, ids=lambda v: v.name)
def test_counters_count(message, signal, good):
    words = good.frames.payload[good.frames.carries(message.name)]
    counts = (words >> np.uint64(signal.start) & np.uint64((1 << signal.bits) - 1)).astype(np.int64)
    assert (np.diff(counts) % (1 << signal.bits) == 1).all()


GUARDED = [(m, s) for m in MESSAGES for s in m.signals if s.source in (Guard.XOR, Guard.SUM)]


@pytest.mark.parametrize(("message", "signal"), GUARDED, ids=lambda v: v.name)
def test_checksums_hold(message, signal, good):
    """Byte by byte, as the comments of the database tell it."""
    words = good.frames.payload[good.frames.carries(message.name)]
    for word in words[:: max(1, len(words) // 200)].tolist():
        data = word.to_bytes(8, "little")[: message.length]
        others = [b for k, b in enumerate(data) if k != signal.start // 8]
        if signal.source is Guard.XOR:
            expected = (message.identifier & 0xFF) ^ 0xA5
            for byte in others:
                expected ^= byte
        else:
            expected = (sum(others) + (message.identifier & 0xFF)) % 256
        assert data[signal.start // 8] == expected


def test_payloads_change_under_a_checksum():
    """Guards the tests above against a payload of zeros."""
    assert {s.source for m in MESSAGES for s in m.signals if isinstance(s.source, Guard)} == set(Guard)
    assert len(GUARDED) == 5
