"""Cutting signals out of payload words, against a reference that walks bit by bit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.decode.bits import Cut, Field, as_float

PAYLOAD_BYTES = 64


def places_high_to_low(field):
    """(byte, bit) of each bit of a signal, highest weight first, as a DBC file numbers them."""
    if not field.big_endian:
        return [divmod(field.start + k, 8) for k in reversed(range(field.length))]
    out = []
    byte, bit = divmod(field.start, 8)
    for _ in range(field.length):
        out.append((byte, bit))
        byte, bit = (byte, bit - 1) if bit else (byte + 1, 7)
    return out


def slow_raw(field, payload):
    raw = 0
    for byte, bit in places_high_to_low(field):
        raw = raw << 1 | payload[byte] >> bit & 1
    if field.signed and raw >> field.length - 1:
        raw -= 1 << field.length
    return raw


def words_of(payloads):
    """Payload words 0 to 7 of payloads of 64 bytes."""
    return [np.array([int.from_bytes(p[8 * w : 8 * w + 8], "little") for p in payloads], np.uint64) for w in range(8)]


@st.composite
def fields(draw, most_bytes=PAYLOAD_BYTES):
    big_endian, signed = draw(st.booleans()), draw(st.booleans())
    length = draw(st.integers(1, 64))
    first = draw(st.integers(0, 8 * most_bytes - length))
    return Field(first ^ 7 if big_endian else first, length, big_endian, signed)


def rows(cut, words, chosen):
    block = cut.raw(words)
    return [
        block[row].view(np.uint64 if not f.signed else np.int64).tolist()
        for row, f in zip(cut.row, chosen, strict=True)
    ]


@pytest.mark.parametrize("field", [Field(1, 1), Field(3, 6), Field(3, 6, True), Field(7, 12, True), Field(60, 10)])
def test_places_of_all_bits(field):
    walked = [8 * byte + bit for byte, bit in places_high_to_low(field)]
    assert list(field.places) == (walked if field.big_endian else walked[::-1])


@settings(deadline=None, derandomize=True)
@given(
    st.lists(fields(), min_size=1, max_size=12),
    st.lists(st.binary(min_size=PAYLOAD_BYTES, max_size=PAYLOAD_BYTES), max_size=4),
)
def test_any_signals_of_any_frames(chosen, payloads):
    cut = Cut.of(chosen)
    assert rows(cut, words_of(payloads), chosen) == [[slow_raw(f, p) for p in payloads] for f in chosen]


@settings(deadline=None, derandomize=True)
@given(st.lists(fields(most_bytes=8), min_size=1, max_size=12), st.binary(min_size=8, max_size=8))
def test_classic_frames_need_one_word(chosen, payload):
    cut = Cut.of(chosen)
    assert cut.word_count == 1
    assert rows(cut, [np.frombuffer(payload, "<u8").astype(np.uint64)], chosen) == [
        [slow_raw(f, payload)] for f in chosen
    ]


@settings(deadline=None, derandomize=True)
@given(fields())
def test_where_the_bits_lie(field):
    places = places_high_to_low(field)
    assert field.byte_count == max(byte for byte, _ in places) + 1
    assert field.mask == sum(1 << 8 * byte + bit for byte, bit in places)
    assert field.mask.bit_count() == field.length


def test_no_signals():
    assert Cut.of([]).raw([np.zeros(3, np.uint64)]).shape == (0, 3)


# Worked by hand on the payload 12 34 56 78 9A BC DE F0, byte 0 first.
BY_HAND = [
    ("byte 0", Field(0, 8), 0x12),
    ("low half of byte 1", Field(8, 4), 0x4),
    ("high half of byte 1", Field(12, 4), 0x3),
    ("two bytes, low one first", Field(0, 16), 0x3412),
    ("two bytes, high one first", Field(7, 16, True), 0x1234),
    ("12 bits across a byte, low first", Field(4, 12), 0x341),
    ("12 bits across a byte, high first", Field(3, 12, True), 0x234),
    ("whole word, low first", Field(0, 64), 0xF0DEBC9A78563412),
    ("whole word, high first", Field(7, 64, True), 0x123456789ABCDEF0),
    ("signed byte below zero", Field(56, 8, False, True), -16),
    ("signed byte below zero, high first", Field(39, 8, True, True), -102),
    ("signed byte above zero", Field(0, 8, False, True), 18),
    ("signed half", Field(60, 4, False, True), -1),
    ("one bit", Field(1, 1), 1),
    ("one signed bit", Field(1, 1, True, True), -1),
]


@pytest.mark.parametrize(("field", "raw"), [row[1:] for row in BY_HAND], ids=[row[0] for row in BY_HAND])
def test_by_hand(field, raw):
    payload = bytes.fromhex("123456789ABCDEF0")
    assert rows(Cut.of([field]), [np.frombuffer(payload, "<u8").astype(np.uint64)], [field]) == [[raw]]


# IEEE 754: bit patterns of known numbers, from the definition of the formats.
FLOATS = [
    (16, 0x3C00, 1.0), (16, 0xC000, -2.0), (16, 0x7BFF, 65504.0), (16, 0x7C00, np.inf),
    (32, 0x3F800000, 1.0), (32, 0xC2F70000, -123.5), (32, 0x00000001, 2.0**-149),
    (64, 0x3FF0000000000000, 1.0), (64, 0xC05EE00000000000, -123.5),
]  # fmt: skip


@pytest.mark.parametrize(("length", "bits", "number"), FLOATS)
def test_floating_point(length, bits, number):
    assert as_float(np.array([bits], np.uint64).view(np.int64), length).tolist() == [number]
