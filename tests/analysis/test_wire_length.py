"""Bits on the wire, against frames worked out bit by bit.

data/can_frames_exact.csv and data/can_lengths.csv name their sources row by row.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.analysis.wire_length import INTERFRAME, wire_bits
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SWITCHED, FrameBatch, Tail, join_frames

DATA = Path(__file__).parent / "data"
EXACT = list(csv.DictReader((DATA / "can_frames_exact.csv").open()))
LENGTHS = list(csv.DictReader((DATA / "can_lengths.csv").open()))


def frame(identifier: int, payload: bytes = b"", flags: int = 0, length: int | None = None) -> FrameBatch:
    words = np.frombuffer(payload.ljust(64, b"\0"), "<u8").astype(np.uint64)
    return FrameBatch(
        np.zeros(1, np.int64), ("bus",), np.zeros(1, np.uint8), np.array([identifier], np.uint32),
        np.array([flags], np.uint8), np.array([len(payload) if length is None else length], np.uint8),
        words[:1], Tail(np.zeros(1, np.int64), words[None, 1:]) if len(payload) > 8 else None,
    )  # fmt: skip


@pytest.mark.parametrize("row", EXACT, ids=lambda row: row["name"])
def test_frame_worked_out_bit_by_bit(row: dict[str, str]) -> None:
    flags = EXTENDED * int(row["extended"]) | REMOTE * int(row["rtr"])
    batch = frame(int(row["can_id_hex"], 16), bytes.fromhex(row["data_hex"]), flags, int(row["dlc"]))
    bits = wire_bits(batch)
    assert bits.nominal[0] == bits.total[0] == int(row["bits_on_wire_with_3bit_ifs"])
    assert bits.nominal[0] - INTERFRAME == int(row["bits_on_wire_no_ifs"])


@pytest.mark.parametrize("row", LENGTHS, ids=lambda row: f"{row['format']}-{row['dlc']}-{row['bitrate_bps']}")
def test_lengths_stay_between_no_stuffing_and_the_worst_case(row: dict[str, str]) -> None:
    rng = np.random.default_rng(7)
    n, extended = 2000, row["format"] == "ext"
    words = rng.choice(np.array([0x00, 0xFF, 0x1F, 0xF8, 0x0F, 0x55, 0x3C, 0x83], np.uint8), (n, 8))
    words[:, int(row["dlc"]) :] = 0
    batch = FrameBatch(
        np.zeros(n, np.int64), ("bus",), np.zeros(n, np.uint8),
        rng.integers(0, 1 << (29 if extended else 11), n, np.uint32),
        np.full(n, EXTENDED if extended else 0, np.uint8), np.full(n, int(row["dlc"]), np.uint8),
        words.view("<u8")[:, 0].astype(np.uint64),
    )  # fmt: skip
    bits = wire_bits(batch).total
    assert bits.min() >= int(row["bits_no_stuff_with_ifs"])
    assert bits.max() <= int(row["max_bits_with_ifs"])
    microseconds = (bits * 1_000_000 / int(row["bitrate_bps"])).round(3)
    assert microseconds.min() >= float(row["frame_time_min_us"])
    assert microseconds.max() <= float(row["frame_time_max_us"])


def text_of(identifier: int, payload: bytes, flags: int, length: int) -> tuple[str, str]:
    """The bits of a frame before stuffing as text: (stuffed to the rule of five, not stuffed)."""

    def binary(number: int, width: int) -> str:
        return format(number, f"0{width}b")

    extended, remote = bool(flags & EXTENDED), "1" if flags & REMOTE else "0"
    base = (
        binary(identifier >> 18, 11) + "11" + binary(identifier & 0x3FFFF, 18) if extended else binary(identifier, 11)
    )
    data = "".join(binary(b, 8) for b in payload)
    if flags & FD:
        code = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64].index(length)
        brs, esi = "1" if flags & SWITCHED else "0", "1" if flags & PASSIVE else "0"
        head = "0" + base + "0" + ("" if extended else "0") + "10" + brs
        return head, esi + binary(code, 4) + data
    head = "0" + base + remote + "00" + binary(length, 4) + data
    crc = 0
    for bit in head:
        turn = int(bit) ^ (crc >> 14 & 1)
        crc = (crc << 1 & 0x7FFF) ^ (0x4599 if turn else 0)
    return head + binary(crc, 15), ""


def stuffed(bits: str, *, at_the_end: bool) -> list[int]:
    """Where stuff bits go: for each, how many frame bits come before it."""
    places, last, run = [], "", 0
    for place, bit in enumerate(bits):
        run = run + 1 if bit == last else 1
        last = bit
        if run == 5 and (at_the_end or place < len(bits) - 1):
            places.append(place + 1)
            last, run = "01"[bit == "0"], 1
    return places


frames = st.builds(
    lambda identifier, extended, payload, remote: frame(
        identifier if extended else identifier & 0x7FF,
        b"" if remote else payload,
        EXTENDED * extended | REMOTE * remote,
        len(payload),
    ),
    st.integers(0, 0x1FFFFFFF) | st.sampled_from([0, 0x1FFFFFFF, 0x0003FFFF]),
    st.booleans(),
    st.binary(max_size=8) | st.lists(st.sampled_from([0, 0xFF, 0xF8, 0x07]), max_size=8).map(bytes),
    st.booleans(),
)


def payload_of(batch: FrameBatch, row: int) -> bytes:
    return batch.words()[row].astype("<u8").tobytes()[: batch.length[row]]


@given(st.lists(frames, min_size=1, max_size=12))
def test_classic_frames_equal_text_worked_bit_by_bit(parts: list[FrameBatch]) -> None:
    batch = join_frames(parts)
    for row, found in enumerate(wire_bits(batch).total):
        flags, length = int(batch.flags[row]), int(batch.length[row])
        payload = b"" if flags & REMOTE else payload_of(batch, row)
        bits, _ = text_of(int(batch.identifier[row]), payload, flags, length)
        assert found == len(bits) + len(stuffed(bits, at_the_end=True)) + 10 + 3


@given(
    st.integers(0, 0x1FFFFFFF),
    st.sampled_from([0, 3, 8, 12, 16, 20, 48, 64]).flatmap(
        lambda n: st.binary(min_size=n, max_size=n) | st.just(bytes(n))
    ),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
def test_fd_frames_equal_text_worked_bit_by_bit(
    identifier: int, payload: bytes, extended: bool, switched: bool, passive: bool
) -> None:
    flags = FD | EXTENDED * extended | SWITCHED * switched | PASSIVE * passive
    identifier = identifier if extended else identifier & 0x7FF
    slow, fast = text_of(identifier, payload, flags, len(payload))
    places = stuffed(slow + fast, at_the_end=False)
    early = sum(place < len(slow) for place in places)
    check = 27 if len(payload) <= 16 else 32
    want_slow = len(slow) + early + 9 + 3
    want_fast = len(fast) + len(places) - early + check + 1
    bits = wire_bits(frame(identifier, payload, flags))
    assert bits.total[0] == want_slow + want_fast
    assert (bits.nominal[0], bits.data[0]) == ((want_slow, want_fast) if switched else (want_slow + want_fast, 0))


def test_the_shortest_and_longest_fd_check_fields() -> None:
    """17-bit CRC: 4 + 17 bits and 6 fixed stuff bits; 21-bit: 4 + 21 and 7 (from memory of ISO 11898-1:2015)."""
    short, long = frame(0x555, bytes([0x55] * 16), FD), frame(0x555, bytes([0x55] * 20), FD)
    # No five equal bits outside the check field: 17 + 5 + data + check + 10 + 3.
    assert wire_bits(short).total[0] == 17 + 5 + 128 + 27 + 13
    assert wire_bits(long).total[0] == 17 + 5 + 160 + 32 + 13


def test_an_error_frame_counts_no_bits() -> None:
    assert wire_bits(frame(0, b"", ERROR)).total.tolist() == [0]


def test_no_frames() -> None:
    batch = frame(1).take(np.zeros(0, np.int64))
    assert wire_bits(batch).total.tolist() == []
