"""Signals out of batches: published examples, multiplexing, lengths, CAN FD, codes for "not available"."""

import csv
from pathlib import Path

import numpy as np
import pytest

from busprobe.decode.layout import MessageLayout, SignalLayout
from busprobe.decode.messages import count_long, count_short, decode_rows
from busprobe.frames import EXTENDED, FD, FrameBatch, Tail

DATA = Path(__file__).parent / "data"


def batch_of(*payloads, flags=0):
    """One channel, identifier 0x100, 1 ms apart; payloads as hex text."""
    data = [bytes.fromhex(p) for p in payloads]
    words = np.array([list(d.ljust(64, b"\0")) for d in data], np.uint8).reshape(-1, 64).view("<u8").astype(np.uint64)
    long = np.flatnonzero([len(d) > 8 for d in data])
    n = len(data)
    return FrameBatch(
        np.arange(n, dtype=np.int64) * 1_000_000, ("body",), np.zeros(n, np.uint8), np.full(n, 0x100, np.uint32),
        np.full(n, flags, np.uint8), np.array([len(d) for d in data], np.uint8), words[:, 0].copy(),
        Tail(long, words[long, 1:]) if len(long) else None,
    )  # fmt: skip


def signal(name, start, length, big_endian=False, signed=False, is_float=False, **more):
    return SignalLayout(name, start, length, big_endian, signed, is_float, **more)


def message(*signals, length=8, **more):
    return MessageLayout("Message", 0x100, False, length, signals=signals, **more)


def decoded(layout, *payloads, names=None):
    """name -> (raw values, values, present or None)"""
    batch = batch_of(*payloads)
    samples = decode_rows(batch, np.arange(len(batch)), layout, names)
    return {
        s.layout.name: (s.raw.tolist(), s.value.tolist(), s.present if s.present is None else s.present.tolist())
        for s in samples
    }


def published():
    with (DATA / "dbc_signals.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", published(), ids=lambda r: f"{r['dbc_file']}-{r['hex_bytes']}-{r['signal']}")
def test_published_example(row):
    """Source of each row: its column `source` (assertions in the test suite of cantools)."""
    layout = signal(
        row["signal"], int(row["start_bit"]), int(row["length"]), row["byte_order"] == "big_endian",
        row["signed"] == "1", row["is_float"] == "1", scale=float(row["scale"]), offset=float(row["offset"]),
    )  # fmt: skip
    (sample,) = decode_rows(
        batch_of(row["hex_bytes"]), np.arange(1), message(layout, length=len(row["hex_bytes"]) // 2)
    )
    assert sample.present is None
    assert sample.value[0] == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))
    if layout.is_float:  # the column holds the bits
        assert sample.raw.astype({32: np.float32, 64: np.float64}[layout.length]).view(np.uint32)[0] == int(row["raw"])
    else:
        assert sample.raw[0] == int(row["raw"])


def test_rows_of_the_published_examples_are_all_used():
    assert len(published()) == 61
    assert all(row["source"] for row in published())


def test_only_the_rows_asked_for_with_their_times():
    layout = message(signal("A", 0, 8), length=1)
    (sample,) = decode_rows(batch_of("01", "02", "03"), np.array([0, 2]), layout)
    assert sample.raw.tolist() == [1, 3]
    assert sample.t_ns.tolist() == [0, 2_000_000]


def test_no_rows():
    layout = message(signal("A", 0, 8), signal("B", 8, 8, multiplexer=(("A", ((1, 1),)),)))
    samples = decode_rows(batch_of("01"), np.empty(0, np.int64), layout)
    assert [len(s.raw) for s in samples] == [0, 0]


def test_names_choose_signals_in_the_order_of_the_file():
    layout = message(signal("A", 0, 8), signal("B", 8, 8), signal("C", 16, 8))
    assert list(decoded(layout, "010203", names=["C", "A"])) == ["A", "C"]
    assert decoded(layout, "010203", names=[]) == {}


def test_kinds_of_raw_values():
    layout = message(
        signal("Unsigned", 0, 8), signal("Signed", 0, 8, signed=True), signal("Wide", 0, 64),
        signal("WideSigned", 0, 64, signed=True), signal("Real", 0, 32, is_float=True),
    )  # fmt: skip
    samples = decode_rows(batch_of("FFFFFFFFFFFFFFFF"), np.arange(1), layout)
    assert [s.raw.dtype for s in samples] == [np.int64, np.int64, np.uint64, np.int64, np.float64]
    assert [s.raw[0] for s in samples[:4]] == [255, -1, 2**64 - 1, -1]
    assert [s.value[0] for s in samples[:4]] == [255.0, -1.0, 2.0**64, -1.0]
    assert all(s.value.dtype == np.float64 for s in samples)


def test_scaling_is_raw_times_scale_plus_offset():
    layout = message(signal("A", 0, 8, scale=0.5, offset=-40.0), signal("B", 8, 8), signal("C", 16, 8, scale=2.0))
    assert [v for _, v, _ in decoded(layout, "640A05").values()] == [[10.0], [10.0], [10.0]]


SHORT = message(signal("A", 0, 8), signal("B", 8, 12), signal("C", 23, 12, big_endian=True), length=4)


def test_short_frames_are_decoded_as_far_as_their_bits_go():
    """B ends in byte 2, C (big-endian) begins in byte 2 and ends in byte 3."""
    result = decoded(SHORT, "01020304", "010203", "0102", "01", "")
    assert result["A"] == ([1, 1, 1, 1, 0], [1.0, 1.0, 1.0, 1.0, 0.0], [True, True, True, True, False])
    assert result["B"][2] == [True, True, False, False, False]
    assert result["C"][2] == [True, False, False, False, False]
    assert result["B"][0][:2] == [0x302, 0x302]
    assert result["C"][0][0] == 0x030


def test_longer_frames_are_decoded_and_counted():
    batch = batch_of("01020304", "0102030405", "010203", "", "0102030405060708")
    rows = np.arange(5)
    assert decode_rows(batch, rows, SHORT)[0].present.tolist() == [True, True, True, False, True]
    assert decode_rows(batch, rows[[0, 1, 4]], SHORT)[0].present is None
    assert count_short(batch, rows, SHORT) == 2
    assert count_long(batch, rows, SHORT) == 2


def test_padding_of_a_can_fd_frame_is_not_too_long():
    """Payload lengths of CAN FD above 8: 12, 16, 20, 24, 32, 48, 64 (ISO 11898-1)."""
    layout = message(length=10)
    batch = batch_of("00" * 10, "00" * 12, "00" * 16, flags=FD)
    assert count_long(batch, np.arange(3), layout) == 1
    assert count_short(batch, np.arange(3), message(length=12)) == 1
    assert count_long(batch_of("00" * 12), np.arange(1), layout) == 1


def test_can_fd_signals_past_and_across_the_words():
    layout = message(
        signal("Past", 64, 8), signal("Across", 60, 8), signal("AcrossBig", 59, 8, big_endian=True),
        signal("Last", 504, 8, signed=True), length=64,
    )  # fmt: skip
    full = "00" * 7 + "5A" + "C3" + "00" * 54 + "FE"
    result = decoded(layout, full, "00" * 7 + "5A", "00" * 7 + "5AC3" + "00" * 3)
    assert result["Past"] == ([0xC3, 0, 0xC3], [195.0, 0.0, 195.0], [True, False, True])
    assert result["Across"][0] == [0x35, 0x05, 0x35]
    assert result["AcrossBig"][0] == [0xAC, 0xA0, 0xAC]
    assert result["Across"][2] == result["AcrossBig"][2] == [True, False, True]
    assert result["Last"] == ([-2, 0, 0], [-2.0, 0.0, 0.0], [True, False, False])


NESTED = message(
    signal("Outer", 0, 4, is_multiplexer=True),
    signal("Inner", 4, 4, is_multiplexer=True, multiplexer=(("Outer", ((1, 1),)),)),
    signal("Simple", 8, 8, multiplexer=(("Outer", ((0, 0), (2, 3))),)),
    signal("Deep", 16, 8, multiplexer=(("Outer", ((1, 1),)), ("Inner", ((5, 7),)))),
    signal("Always", 24, 8),
)


def test_multiplexed_signals_are_present_only_when_selected():
    """Low half of byte 0 is Outer, high half Inner; an Outer of 9 selects nothing."""
    result = decoded(NESTED, "00AABBCC", "61AABBCC", "81AABBCC", "03AABBCC", "69AABBCC")
    assert result["Outer"][2] is None
    assert result["Always"][2] is None
    assert result["Inner"][2] == [False, True, True, False, False]
    assert result["Simple"][2] == [True, False, False, True, False]
    assert result["Deep"][2] == [False, True, False, False, False]
    assert result["Deep"][0][1] == 0xBB


def test_a_multiplexer_is_read_even_when_not_asked_for():
    assert list(decoded(NESTED, "61AABBCC", names=["Deep"])) == ["Deep"]
    assert decoded(NESTED, "61AABBCC", "60AABBCC", names=["Deep"])["Deep"][2] == [True, False]


def test_a_signal_is_not_present_where_its_multiplexer_is_cut_off():
    layout = message(
        signal("Mode", 24, 8, is_multiplexer=True), signal("A", 0, 8, multiplexer=(("Mode", ((0, 0),)),)), length=4
    )
    assert decoded(layout, "01020300", "010203")["A"][2] == [True, False]


def test_multiplexer_below_zero():
    layout = message(signal("Mode", 0, 4, signed=True), signal("A", 8, 8, multiplexer=(("Mode", ((-2, -1),)),)))
    assert decoded(layout, "0E11", "0F11", "0111")["A"][2] == [True, True, False]


KNOWN = [
    ("all known", {}, ["00", "FF"], None),
    ("named by the database", {"not_available": (3, 255)}, ["03", "04", "FF"], [False, True, False]),
    ("named but not seen", {"not_available": (3,)}, ["00", "04"], None),
    ("J1939 codes", {"not_available_from": 0xFE}, ["FD", "FE", "FF"], [True, False, False]),
    ("both", {"not_available": (0,), "not_available_from": 0xFE}, ["00", "01", "FF"], [False, True, False]),
    ("too short as well", {"not_available": (3,)}, ["03", "04", ""], [False, True, False]),
]


@pytest.mark.parametrize(("more", "payloads", "known"), [row[1:] for row in KNOWN], ids=[row[0] for row in KNOWN])
def test_known(more, payloads, known):
    (sample,) = decode_rows(batch_of(*payloads), np.arange(len(payloads)), message(signal("A", 0, 8, **more), length=1))
    result = sample.known()
    assert (result if result is None else result.tolist()) == known


def test_a_floating_point_number_that_is_none_is_not_known():
    layout = message(signal("A", 0, 32, is_float=True), length=4)
    (sample,) = decode_rows(batch_of("0000C07F", "0000803F"), np.arange(2), layout)
    assert sample.known().tolist() == [False, True]


def test_a_batch_of_29_bit_identifiers_is_decoded_alike():
    layout = MessageLayout("Message", 0x100, True, 8, signals=(signal("A", 0, 8),))
    (sample,) = decode_rows(batch_of("2A", flags=EXTENDED), np.arange(1), layout)
    assert sample.raw.tolist() == [42]
