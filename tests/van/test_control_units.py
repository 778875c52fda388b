"""Control units that answer requests: content by python-OBD, framing and flow control by hand."""

from __future__ import annotations

import obd
import pytest
from obd.protocols.protocol import Message

from busprobe.decode.obd import Listener
from busprobe.van.control_units import Conduct, ControlUnit, ControlUnits, Sent, asking, code_bytes

MS = 1_000_000
VIN = "A0TPV3D23TK000012"


def engine(**more):
    pids = {0x0C: lambda t_ns: (t_ns // MS).to_bytes(2, "big"), 0x0D: b"\x3c", 0x42: b"\x33\x90", 0x62: b"\x80"}
    return ControlUnit(0x7E8, pids, VIN, "ECM-EngineControl", **more)


def hexed(frames: list[Sent]) -> list[tuple[int, str, str]]:
    return [(t // MS, f"{i:X}", d.hex(" ").upper()) for t, i, d in frames]


def test_an_answer_is_due_after_the_delay_and_given_once():
    units = ControlUnits([engine()])
    units.feed(5 * MS, 0x7DF, bytes.fromhex("02010D0000000000"))
    assert units.next_ns == 15 * MS
    assert units.due(14 * MS) == []
    assert hexed(units.due(15 * MS)) == [(15, "7E8", "03 41 0D 3C 00 00 00 00")]
    assert units.due(1000 * MS) == []
    assert units.next_ns is None


def test_a_long_answer_waits_for_flow_control():
    units = ControlUnits([engine()])
    units.feed(0, 0x7E0, bytes.fromhex("0209020000000000"))
    assert hexed(units.due(900 * MS)) == [(10, "7E8", "10 14 49 02 01 41 30 54")]
    units.feed(900 * MS, 0x7E0, bytes.fromhex("300000"))
    assert hexed(units.due(1000 * MS)) == [
        (901, "7E8", "21 50 56 33 44 32 33 54"),
        (902, "7E8", "22 4B 30 30 30 30 31 32"),
    ]


@pytest.mark.parametrize(
    ("flow", "times"),
    [
        (["300005"], [25, 30]),
        (["300100"], [21]),
        (["300100", "300100"], [21, 21]),
        (["310000", "300000"], [21, 22]),
        (["320000", "300000"], []),
        ([], []),
    ],
    ids=["5 ms apart", "one at a time", "one and then the other", "wait, then go on", "overflow ends it", "none"],
)
def test_flow_control(flow, times):
    units = ControlUnits([engine()])
    units.feed(0, 0x7DF, bytes.fromhex("0209020000000000"))
    units.due(20 * MS)
    found = []
    for frame in flow:
        units.feed(20 * MS, 0x7E0, bytes.fromhex(frame))
        found += [t // MS for t, _, _ in units.due(100 * MS)]
    assert found == times


def test_flow_control_after_a_second_is_too_late():
    units = ControlUnits([engine()])
    units.feed(0, 0x7DF, bytes.fromhex("0209020000000000"))
    units.due(20 * MS)
    units.feed(1011 * MS, 0x7E0, bytes.fromhex("300000"))
    assert units.due(5000 * MS) == []


def obd_says(command, payload: bytes):
    """What python-OBD makes of an answer, from the service byte on."""
    message = Message([])
    message.data = bytearray(payload)
    return command.decode([message])


def test_supported_pids_by_python_obd():
    unit = engine()
    for base, expected in ((0x00, {1, 0x0C, 0x0D, 0x20}), (0x20, {0x40}), (0x40, {0x42, 0x60}), (0x60, {0x62})):
        bits = obd_says(obd.commands.PIDS_A, unit.answer(bytes((1, base)), 0))
        assert {base + number + 1 for number, bit in enumerate(bits) if bit} == expected
    assert unit.answer(b"\x01\x80", 0) is None


def test_values_by_python_obd():
    unit = engine()
    assert obd_says(obd.commands.RPM, unit.answer(b"\x01\x0c", 6904 * MS)).magnitude == 1726.0
    assert obd_says(obd.commands.CONTROL_MODULE_VOLTAGE, unit.answer(b"\x01\x42", 0)).magnitude == pytest.approx(13.2)


def test_codes_and_status_by_python_obd():
    unit = engine(codes={0x03: ["P0301", "U0100", "C1234", "B0A1F"], 0x07: [], 0x0A: ["P0420"]})
    assert [code.upper() for code, _ in obd_says(obd.commands.GET_DTC, unit.answer(b"\x03", 0))] == unit.codes[3]
    status = obd_says(obd.commands.STATUS, unit.answer(b"\x01\x01", 0))
    assert (status.MIL, status.DTC_count, status.ignition_type) == (True, 4, "spark")
    assert status.CATALYST_MONITORING.available
    assert status.CATALYST_MONITORING.complete


def test_vin_and_name_as_the_listener_reads_them():
    import numpy as np

    from busprobe.frames import FrameBatch

    units, listener, texts = ControlUnits([engine()]), Listener(), []
    for number, infotype in enumerate((0x00, 0x02, 0x0A)):
        at_ns = number * 1000 * MS
        units.feed(at_ns, 0x7DF, bytes((2, 9, infotype)).ljust(8, b"\0"))
        first = units.due(at_ns + 50 * MS)
        units.feed(at_ns + 50 * MS, 0x7E0, bytes.fromhex("300000"))
        frames = first + units.due(at_ns + 100 * MS)
        batch = FrameBatch(
            np.array([f.t_ns for f in frames], np.int64), ("body",), np.zeros(len(frames), np.uint8),
            np.array([f.identifier for f in frames], np.uint32), np.zeros(len(frames), np.uint8),
            np.full(len(frames), 8, np.uint8),
            np.array([int.from_bytes(f.data, "little") for f in frames], np.uint64),
        )  # fmt: skip
        texts += [record.text for record in listener.feed(batch)]
    assert texts == ["02 0A", VIN, "ECM / EngineControl"]


@pytest.mark.parametrize(
    ("conduct", "request_hex", "expected"),
    [
        (Conduct(silent=frozenset({3})), "0103", []),
        (Conduct(refuses={3: 0x22}), "0103", [(10, "7E8", "03 7F 03 22 00 00 00 00")]),
        (Conduct(patience={3: 300 * MS}), "0103",
         [(10, "7E8", "03 7F 03 78 00 00 00 00"), (310, "7E8", "02 43 00 00 00 00 00 00")]),
        (Conduct(breaks_off=frozenset({3})), "0103", []),
        (Conduct(delay_ns=40 * MS), "0103", [(40, "7E8", "02 43 00 00 00 00 00 00")]),
        (Conduct(), "0104", []),
        (Conduct(), "020105", []),
        (Conduct(), "03090204", []),
        (Conduct(), "00", []),
        (Conduct(), "", []),
    ],
    ids=["silent", "refuses", "patience", "breaks off", "slow", "clearing of codes", "PID not there",
         "two information types", "empty request", "empty frame"],
)  # fmt: skip
def test_conduct(conduct, request_hex, expected):
    units = ControlUnits([engine(conduct=conduct)])
    units.feed(0, 0x7DF, bytes.fromhex(request_hex))
    assert hexed(units.due(10_000 * MS)) == expected


def test_each_unit_hears_only_what_is_for_it():
    eleven, wide = ControlUnit(0x7E9, {0x0D: b"\x00"}), ControlUnit(0x18DAF118, {0x0D: b"\x00"})
    assert (asking(0x7E9), asking(0x18DAF118)) == (0x7E1, 0x18DA18F1)
    for identifier, expected in ((0x7DF, ["7E9"]), (0x7E1, ["7E9"]), (0x7E0, []), (0x18DB33F1, ["18DAF118"]),
                                 (0x18DA18F1, ["18DAF118"]), (0x18DA10F1, []), (0x123, [])):  # fmt: skip
        units = ControlUnits([eleven, wide])
        units.feed(0, identifier, bytes.fromhex("02010D0000000000"))
        assert [f"{i:X}" for _, i, _ in units.due(100 * MS)] == expected


# Source: tests/decode/data/dtc.csv (SAE J2012; two decoders run).
@pytest.mark.parametrize(("code", "data"), [("P0301", "0301"), ("C0300", "4300"), ("B1234", "9234"), ("U0100", "C100")])
def test_code_bytes(code, data):
    assert code_bytes(code).hex().upper() == data
