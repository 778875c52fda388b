"""The diagnostic talk on the bus: a fitted interface asks, two control units answer (ISO 15765-4).

7DF 02 01 00 ..              which PIDs        7E8 06 41 00 18 7B 80 03    7E9 06 41 00 80 00 00 00
7DF 02 09 02 ..              vehicle number    7E8 10 14 49 02 01 41 30 54  7E0 30 00 00  7E8 21 .. 22 ..
7DF 04 01 0C 0D 42 ..        twice a second    7E8 10 09 41 0C ..           7E0 30 00 00  7E8 21 ..
"""

from __future__ import annotations

import numpy as np

from busprobe.frames import FloatArray, Int64Array, UInt64Array
from busprobe.van import noise
from busprobe.van.steps import ns
from busprobe.van.traffic import NO_MESSAGE, Traffic, joined
from busprobe.van.world import World

VIN = "A0TPV3D23TK000012"
"""Check digit 3 after 49 CFR 565; the maker's code A0T is of our own making."""
ASK_ALL, ASK_ENGINE, ENGINE, GEARBOX = 0x7DF, 0x7E0, 0x7E8, 0x7E9
ENGINE_PIDS = (
    0x01,
    0x04,
    0x05,
    0x0B,
    0x0C,
    0x0D,
    0x0F,
    0x10,
    0x11,
    0x1F,
    0x20,
    0x21,
    0x2F,
    0x31,
    0x33,
    0x40,
    0x42,
    0x46,
)
GEARBOX_PIDS = (0x01,)
FIRST_NS = ns(18.0)
ROUND_FIRST_NS, ROUND_LAST_NS, ROUND_NS = ns(20.0), ns(539.9), ns(0.5)


def supported(pids: tuple[int, ...], base: int) -> bytes:
    """The four bytes that say which of the 32 PIDs after `base` there are; first PID, top bit."""
    bits = sum(1 << (32 - (pid - base)) for pid in pids if base < pid <= base + 32)
    return bits.to_bytes(4, "big")


def segments(answer: bytes) -> list[bytes]:
    """An answer as ISO 15765-2 frames: one single frame, or a first frame and consecutive ones."""
    if len(answer) < 8:
        return [bytes([len(answer)]) + answer]
    rest = [answer[i : i + 7] for i in range(6, len(answer), 7)]
    follow = [bytes([0x20 | (number + 1) & 0xF]) + part for number, part in enumerate(rest)]
    return [bytes([0x10 | len(answer) >> 8, len(answer) & 0xFF]) + answer[:6], *follow]


def _conversation() -> list[tuple[bytes, dict[int, bytes]]]:
    """(request, answers by identifier) in the order asked, once, at the start."""
    engine = {base: b"\x41" + bytes([base]) + supported(ENGINE_PIDS, base) for base in (0x00, 0x20, 0x40)}
    gearbox = b"\x41\x00" + supported(GEARBOX_PIDS, 0)
    return [
        (b"\x01\x00", {ENGINE: engine[0x00], GEARBOX: gearbox}),
        (b"\x01\x20", {ENGINE: engine[0x20]}),
        (b"\x01\x40", {ENGINE: engine[0x40]}),
        (b"\x09\x00", {ENGINE: b"\x49\x00" + supported((0x02,), 0)}),
        (b"\x09\x02", {ENGINE: b"\x49\x02\x01" + VIN.encode()}),
        (b"\x03", {ENGINE: b"\x43\x00", GEARBOX: b"\x43\x00"}),
    ]


def _word(data: bytes) -> int:
    return int.from_bytes(data.ljust(8, b"\0"), "little")


def _opening() -> Traffic:
    """The conversation at the start, frame by frame."""
    rows: list[tuple[int, int, int]] = []
    t_ns = FIRST_NS
    for request, answers in _conversation():
        rows.append((t_ns, ASK_ALL, _word(bytes([len(request)]) + request)))
        for number, (identifier, answer) in enumerate(answers.items()):
            frames = segments(answer)
            at_ns = t_ns + ns(0.014) + number * ns(0.006)
            rows.append((at_ns, identifier, _word(frames[0])))
            if len(frames) > 1:
                rows.append((at_ns + ns(0.005), ASK_ENGINE, _word(b"\x30\x00\x00")))
            for place, frame in enumerate(frames[1:]):
                rows.append((at_ns + ns(0.010) + place * ns(0.005), identifier, _word(frame)))
        t_ns += ns(0.1)
    return _traffic(
        np.array([r[0] for r in rows], np.int64),
        np.array([r[1] for r in rows], np.int64),
        np.array([r[2] for r in rows], np.uint64),
    )


def _traffic(t_ns: Int64Array, identifier: Int64Array, payload: UInt64Array) -> Traffic:
    count = len(t_ns)
    return Traffic(t_ns, np.full(count, NO_MESSAGE), identifier.astype(np.uint32), np.full(count, 8, np.uint8), payload)


def _rounds(world: World) -> Traffic:
    """Three PIDs in one request, twice a second: engine speed, road speed, module voltage."""
    count = (ROUND_LAST_NS - ROUND_FIRST_NS) // ROUND_NS
    grid = ROUND_FIRST_NS + np.arange(count) * ROUND_NS
    asked = grid + noise.uniform(world.seed, "tester", count, 0.0, ns(0.004)).astype(np.int64)
    answered = asked + noise.uniform(world.seed, "answer", count, ns(0.010), ns(0.030)).astype(np.int64)
    first, follow = _round_answers(world, answered)
    times = (asked, answered, answered + ns(0.004), answered + ns(0.008))
    words = (np.full(count, _word(b"\x04\x01\x0c\x0d\x42")), first, np.full(count, _word(b"\x30\x00\x00")), follow)
    identifiers = (ASK_ALL, ENGINE, ASK_ENGINE, ENGINE)
    return joined(
        [_traffic(t, np.full(count, i), w.astype(np.uint64)) for t, i, w in zip(times, identifiers, words, strict=True)]
    )


def _round_answers(world: World, t_ns: Int64Array) -> tuple[UInt64Array, UInt64Array]:
    """First and consecutive frame of `41 0C hh ll 0D ss 42 hh ll`, nine bytes."""
    engine = _bytes_of(world.value("engine_speed", t_ns) * 4.0, 0xFFFF)
    speed = _bytes_of(world.value("vehicle_speed", t_ns), 0xFF)
    volts = _bytes_of(world.value("battery", t_ns) * 1000.0, 0xFFFF)
    first = np.uint64(_word(b"\x10\x09\x41\x0c")) | _swapped(engine) << np.uint64(32)
    first = first | np.uint64(0x0D << 48) | speed << np.uint64(56)
    follow = np.uint64(_word(b"\x21\x42")) | _swapped(volts) << np.uint64(16)
    return first, follow


def _bytes_of(values: FloatArray, most: int) -> UInt64Array:
    return np.clip(np.floor(values), 0, most).astype(np.uint64)


def _swapped(values: UInt64Array) -> UInt64Array:
    """High byte first on the wire, which is low byte of the word."""
    return values >> np.uint64(8) | (values & np.uint64(0xFF)) << np.uint64(8)


def talk(world: World) -> Traffic:
    """All diagnostic frames, when they are ready."""
    return joined([_opening(), _rounds(world)])
