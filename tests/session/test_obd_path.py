"""The way of an OBD quantity: bits, formula and frames.

Formulas as SAE J1979 writes them, frames as ISO 15765-2 cuts messages; both from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.decode import pids
from busprobe.decode.obd import Listener, Reading, Request
from busprobe.engine.signal_plan import ObdTap
from busprobe.frames import SENT, FrameBatch
from busprobe.session.obd_path import bit_numbers, formula, obd_way
from busprobe.session.snapshot import Stage

MS = 1_000_000


def heard(*lines: tuple[int, int, str], sent: bool = False) -> tuple[Request | None, Reading | None]:
    """Newest request and reading from frames of 8 bytes: (ms, identifier, bytes in hex)."""
    words = [int.from_bytes(bytes.fromhex(text).ljust(8, b"\0"), "little") for _, _, text in lines]
    batch = FrameBatch(
        np.array([t * MS for t, _, _ in lines], np.int64), ("body",), np.zeros(len(lines), np.uint8),
        np.array([i for _, i, _ in lines], np.uint32), np.full(len(lines), SENT * sent, np.uint8),
        np.full(len(lines), 8, np.uint8), np.array(words, np.uint64),
    )  # fmt: skip
    records = Listener().feed(batch)
    requests = [r for r in records if isinstance(r, Request)]
    readings = [r for r in records if isinstance(r, Reading)]
    return next(reversed(requests), None), next(reversed(readings), None)


def stages(name: str, request: Request | None, answer: Reading | None, at_ms: int) -> dict[str, Stage]:
    return {s.title: s for s in obd_way(ObdTap("body", name), request, answer, at_ms * MS).stages}


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("04", "A × 100 / 255"),
        ("05", "A - 40"),
        ("0C", "(256 A + B) / 4"),
        ("0D", "A"),
        ("0E", "A / 2 - 64"),
        ("1F", "256 A + B"),
        ("42", "(256 A + B) / 1000"),
    ],
)
def test_formulas(name: str, text: str) -> None:
    quantity = pids.find(name)
    assert quantity is not None
    assert formula(quantity) == text


@given(st.data())
def test_the_bits_of_a_quantity_joined_are_its_raw_number(data: st.DataObject) -> None:
    quantity = data.draw(st.sampled_from([q for pid in range(256) for q in pids.quantities(pid)]))
    payload = data.draw(st.binary(min_size=2 + quantity.length, max_size=2 + quantity.length))
    raw = quantity.raw(payload[2:])
    if raw is None:
        return
    bits = bit_numbers(quantity, 2)
    joined = int("".join(str(payload[b // 8] >> b % 8 & 1) for b in bits), 2)
    if quantity.scale.signed and raw < 0:
        raw += 1 << len(bits)
    assert joined == raw


def test_an_answer_of_one_frame() -> None:
    request, answer = heard((0, 0x7DF, "02 01 42"), (12, 0x7E8, "04 41 42 36 4C AA AA AA"), sent=True)
    way = obd_way(ObdTap("body", "42"), request, answer, 412 * MS)
    found = {s.title: s for s in way.stages}
    assert list(found) == ["Request", "Frames", "Raw", "Value"]
    assert found["Request"].detail == "body 7DF, asked 412 ms ago from this machine"
    assert found["Frames"].text == "7E8: 04 41 42 36 4C"
    assert found["Frames"].detail == "body, 1 frame, 4 bytes (ISO 15765-2), 400 ms ago, 12 ms after its request"
    assert (found["Raw"].text, found["Raw"].detail) == ("13900", "bytes A and B: 36 4C")
    assert (found["Value"].text, found["Value"].detail) == ("13.900 V", "Control module voltage: (256 A + B) / 1000")
    assert way.payload == bytes.fromhex("04 41 42 36 4C AA AA AA")
    assert way.bits == (31, 30, 29, 28, 27, 26, 25, 24, 39, 38, 37, 36, 35, 34, 33, 32)


def test_a_message_that_broke_off_is_no_part_of_the_next_answer() -> None:
    _, answer = heard(
        (0, 0x7E8, "10 09 41 0C 11 D5 0D 2D"), (10, 0x7E0, "30 00 00"), (20, 0x7E8, "03 41 0D 3C"),
        (30, 0x7E8, "21 42 37 6B"),
    )  # fmt: skip
    assert answer is not None
    assert answer.frames == (bytes.fromhex("03 41 0D 3C 00 00 00 00"),)
    assert stages("0D", None, answer, 30)["Frames"].text == "7E8: 03 41 0D 3C"


def test_before_anything_was_asked_or_answered() -> None:
    way = obd_way(ObdTap("body", "0D"), None, None, 0)
    found = {s.title: s for s in way.stages}
    assert (found["Request"].text, found["Frames"].text, found["Value"].text) == (
        "none heard", "no answer yet", "none yet",
    )  # fmt: skip
    assert (way.payload, way.bits) == (None, ())


def test_a_part_of_a_byte_and_a_condition() -> None:
    # PID 01, byte A: bit 7 is the malfunction lamp.
    _, answer = heard((0, 0x7E8, "06 41 01 83 07 65 04"))
    lamp = next(q for q in pids.quantities(0x01) if q.first == 0 and q.shift == 7)
    assert answer is not None
    shown = stages(lamp.name, None, Reading(
        answer.t_ns, "body", 0x7E8, 1, 1, lamp.name, lamp.title, True, None, None, 1, answer.payload, answer.frames
    ), 0)  # fmt: skip
    assert shown["Value"].text == "on"
    assert shown["Raw"].detail == "byte A: 83, bit 7"
