"""Diagnostic answers on the bus, put together by can-isotp as a second opinion."""

from __future__ import annotations

import isotp
import numpy as np
import pytest

from busprobe.van import diagnostics
from busprobe.van.diagnostics import ASK_ALL, ASK_ENGINE, ENGINE, GEARBOX, VIN, segments, supported
from busprobe.van.steps import ns
from busprobe.van.traffic import NO_MESSAGE

# Source: docstring of py-obdii's SupportedPIDS, bit string run through python-OBD; then rules.
SUPPORTED = [
    ("01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F 20", 0x00, "BE1FA813"),
    ("01 04 05 0B 0C 0D 0F 10 11 13 1C 20", 0x00, "983BA011"),
    ("21 24 2E 30 3C 3E 40", 0x20, "90050015"),
    ("41 42 43 44 45 46 47 49 4A 4C 56", 0x40, "FED00400"),
    ("", 0x00, "00000000"),
]


@pytest.mark.parametrize(("pids", "base", "expected"), SUPPORTED)
def test_supported_pids(pids, base, expected):
    assert supported(tuple(int(p, 16) for p in pids.split()), base).hex().upper() == expected


# Source: can-isotp 2.0.7, two endpoints talking.
SEGMENTED = [
    ("01020304050607", ["0701020304050607"]),
    ("410D3C", ["03410D3C"]),
    ("4902013144344750303052353542313233343536", ["1014490201314434", "2147503030523535", "2242313233343536"]),
    ("430601430196023402CD03570A24", ["100E430601430196", "21023402CD03570A", "2224"]),
]


@pytest.mark.parametrize(("answer", "expected"), SEGMENTED)
def test_segments(answer, expected):
    assert [f.hex().upper() for f in segments(bytes.fromhex(answer))] == expected


def test_vin_check_digit():
    """49 CFR 565.15(c), Tables III and IV: transliteration and weights, written out again here."""
    values = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", [1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9],
                      strict=True))  # fmt: skip
    weights = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    total = sum(w * (int(c) if c.isdigit() else values[c]) for c, w in zip(VIN, weights, strict=True))
    assert len(VIN) == 17
    assert VIN[8] == "0123456789X"[total % 11]


def talk_of(good):
    """(t_ns, identifier, bytes) of each diagnostic frame, in order."""
    rows = np.flatnonzero(good.frames.message == NO_MESSAGE)
    return [
        (int(good.frames.t_ns[r]), int(good.frames.identifier[r]), int(good.frames.payload[r]).to_bytes(8, "little"))
        for r in rows
    ]


def answers_of(frames, identifier):
    """Whole answers of one control unit, by can-isotp."""
    address = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=identifier, txid=identifier - 8)
    inbox = [isotp.CanMessage(arbitration_id=i, data=bytearray(d)) for _, i, d in frames if i == identifier]
    layer = isotp.TransportLayerLogic(
        rxfn=lambda timeout=0: inbox.pop(0) if inbox else None,
        txfn=lambda _: None,
        address=address,
        params={"stmin": 0, "blocksize": 0},
    )
    out = []
    while inbox:
        layer.process()
        while layer.available():
            out.append(bytes(layer.recv()))
    return out


def test_opening_conversation(good):
    opening = [f for f in talk_of(good) if f[0] < ns(19)]
    assert [d[1 : 1 + d[0]].hex() for _, i, d in opening if i == ASK_ALL] == [
        "0100",
        "0120",
        "0140",
        "0900",
        "0902",
        "03",
    ]
    engine = answers_of(opening, ENGINE)
    assert engine[4] == b"\x49\x02\x01" + VIN.encode()
    assert engine[5] == b"\x43\x00"
    assert [a.hex() for a in answers_of(opening, GEARBOX)] == ["410080000000", "4300"]
    assert [d[:3].hex() for _, i, d in opening if i == ASK_ENGINE] == ["300000"]


def test_three_pids_in_one_request_twice_a_second(good):
    rounds = [f for f in talk_of(good) if f[0] > ns(19)]
    asked = np.array([t for t, i, _ in rounds if i == ASK_ALL])
    assert {d.hex() for _, i, d in rounds if i == ASK_ALL} == {"04010c0d42000000"}
    assert np.median(np.diff(asked)) == pytest.approx(5e8, rel=0.01)
    answers = answers_of(rounds, ENGINE)
    assert len(answers) == len(asked)
    for answer in answers:
        assert (answer[0], answer[1], answer[4], answer[6]) == (0x41, 0x0C, 0x0D, 0x42)
        assert len(answer) == 9
    speeds = np.array([a[5] for a in answers])
    volts = np.array([int.from_bytes(a[7:9], "big") / 1000 for a in answers])
    assert speeds.max() == 50
    assert 9.0 < volts.min() < 12.0 < volts.max() < 15.0


def test_frames_of_an_answer_keep_their_order(good):
    """Request, first frame, flow control, consecutive frame, within 60 ms; P2 is 50 ms in ISO 15765-4 (from memory)."""
    rounds = [f for f in talk_of(good) if f[0] > ns(19)]
    for number in range(0, len(rounds), 4):
        group = rounds[number : number + 4]
        assert [i for _, i, _ in group] == [ASK_ALL, ENGINE, ASK_ENGINE, ENGINE]
        assert [d[0] >> 4 for _, _, d in group] == [0, 1, 3, 2]
        assert group[3][0] - group[0][0] < ns(0.06)
        assert group[1][0] - group[0][0] < ns(0.05)


def test_the_tester_is_silent_with_the_key_off(good):
    talk = talk_of(good)
    assert talk[0][0] > diagnostics.FIRST_NS
    assert talk[-1][0] < ns(540.1)
