"""Requests on a simulated bus: answers of each kind, and what is never sent."""

import csv
from pathlib import Path

import isotp
import pytest
from obd_bus import MS, START, ObdBus, answers, batch_of, padded, requests_sent

from busprobe.errors import DeviceError
from busprobe.frames import ERROR, FD, LATE, REMOTE
from busprobe.sources.requests import grouped, refuse_request
from busprobe.van.control_units import Conduct, ControlUnit

DATA = Path(__file__).parent / "data"
VIN = "A0TPV3D23TK000012"
ENGINE, GEARBOX = 0x7E8, 0x7E9
PIDS = {0x0C: bytes.fromhex("1AF8"), 0x0D: b"\x3c", 0x42: bytes.fromhex("3390")}


def engine(conduct=None, **more):
    return ControlUnit(ENGINE, PIDS, VIN, "ECM", conduct=conduct or Conduct(), **more)


def gearbox(conduct=None):
    return ControlUnit(GEARBOX, conduct=conduct or Conduct())


def test_one_answer():
    bus = ObdBus(engine())
    exchange = bus.exchange(bus.requester(), "01 0D")
    assert bus.sent == [(20, 0x7DF, padded("02 01 0D"))]
    assert answers(exchange) == [("7E8", "41 0D 3C")]
    assert (exchange.sent_ns, exchange.answers[0].t_ns) == (START + 20 * MS, START + 30 * MS)
    assert not exchange.trouble


def test_a_long_answer_gets_flow_control():
    """BS 0, STmin 0, eight bytes: see `test_timing_of_the_standard`."""
    bus = ObdBus(engine())
    exchange = bus.exchange(bus.requester(), "09 02")
    assert answers(exchange) == [("7E8", (b"\x49\x02\x01" + VIN.encode()).hex(" ").upper())]
    assert [(i, d) for _, i, d in bus.sent] == [(0x7DF, padded("02 09 02")), (0x7E0, padded("30 00 00"))]


def test_several_units_answer_at_once():
    bus = ObdBus(engine(codes={3: ["P0301", "P0420", "U0100"]}), ControlUnit(GEARBOX, codes={3: ["P0700"] * 3}))
    exchange = bus.exchange(bus.requester(), "03")
    assert answers(exchange) == [("7E8", "43 03 03 01 04 20 C1 00"), ("7E9", "43 03 07 00 07 00 07 00")]
    assert sorted(i for _, i, d in bus.sent if d[0] == 0x30) == [0x7E0, 0x7E1]


def test_six_pids_share_a_request():
    pids = {pid: bytes((pid,)) for pid in (0x04, 0x05, 0x0B, 0x0D, 0x0F, 0x11)}
    bus = ObdBus(ControlUnit(ENGINE, pids))
    exchange = bus.exchange(bus.requester(), "01 04 05 0B 0D 0F 11")
    assert answers(exchange) == [("7E8", "41 04 04 05 05 0B 0B 0D 0D 0F 0F 11 11")]
    assert bus.sent[0][2] == padded("07 01 04 05 0B 0D 0F 11")


def test_a_refusal_is_an_answer():
    bus = ObdBus(engine(Conduct(refuses={0x0A: 0x11})))
    exchange = bus.exchange(bus.requester(), "0A")
    assert answers(exchange) == [("7E8", "7F 0A 11")]


def test_patience_is_given_for_five_seconds():
    bus = ObdBus(engine(Conduct(patience={0x09: 4900 * MS})), gearbox())
    exchange = bus.exchange(bus.requester(), "09 02")
    assert answers(exchange) == [("7E8", (b"\x49\x02\x01" + VIN.encode()).hex(" ").upper())]
    assert exchange.kept_waiting == ()
    assert 4900 < bus.ms < 6000


def test_patience_ends_after_five_seconds():
    bus = ObdBus(engine(Conduct(patience={0x03: 5200 * MS})), gearbox())
    exchange = bus.exchange(bus.requester(), "03")
    assert answers(exchange) == [("7E9", "43 00")]
    assert exchange.kept_waiting == (ENGINE,)
    assert not exchange.half
    assert 5000 < bus.ms < 5200


def test_nobody_answers():
    """The 11-bit request is repeated with 29 bits once; then it is over."""
    bus = ObdBus(engine(Conduct(silent=frozenset({0x01}))))
    exchange = bus.exchange(bus.requester(), "01 00")
    assert exchange.is_silent
    assert not exchange.trouble
    assert requests_sent(bus) == [("7DF", "01 00"), ("18DB33F1", "01 00")]


def test_half_an_answer():
    bus = ObdBus(engine(Conduct(breaks_off=frozenset({0x09}))), gearbox())
    exchange = bus.exchange(bus.requester(), "09 02")
    assert exchange.half == (ENGINE,)
    assert answers(exchange) == []
    assert bus.ms > 1000, "a second is given to the next frame"


def test_half_an_answer_does_not_spoil_the_next():
    unit = engine(Conduct(breaks_off=frozenset({0x09})))
    bus = ObdBus(unit)
    requester = bus.requester()
    assert bus.exchange(requester, "09 02").half
    unit.conduct = Conduct()
    assert answers(bus.exchange(requester, "09 02"))
    assert answers(bus.exchange(requester, "01 0D")) == [("7E8", "41 0D 3C")]


@pytest.mark.parametrize(
    "frames",
    [
        ["10 14 49 02 01 41 30 54", "22 50 56 33 44 32 33 54"],
        ["10 14 49 02 01 41 30 54", "21 50 56 33 44 32 33 54", "23 4B 30 30 30 30 31 32"],
    ],
    ids=["first one lost", "second one lost"],
)
def test_a_lost_frame_breaks_an_answer(frames):
    bus = ObdBus(ControlUnit(ENGINE))
    for number, frame in enumerate(frames):
        bus.others(30 + number, ENGINE, frame)
    exchange = bus.exchange(bus.requester(), "09 02")
    assert (answers(exchange), exchange.half) == ([], (ENGINE,))


def test_an_answer_that_begins_anew_is_whole():
    bus = ObdBus(ControlUnit(ENGINE))
    first, more, last = "10 14 49 02 01 41 30 54", "21 50 56 33 44 32 33 54", "22 4B 30 30 30 30 31 32"
    for number, frame in enumerate([first, more, first, more, last]):
        bus.others(30 + number, ENGINE, frame)
    exchange = bus.exchange(bus.requester(), "09 02")
    assert answers(exchange) == [("7E8", (b"\x49\x02\x01" + VIN.encode()).hex(" ").upper())]
    assert exchange.half == ()


def test_a_vehicle_with_29_bit_identifiers():
    unit = ControlUnit(0x18DAF110, PIDS, VIN, conduct=Conduct(delay_ns=30 * MS))
    bus = ObdBus(unit, ControlUnit(0x18DAF118))
    requester = bus.requester()
    exchange = bus.exchange(requester, "09 02")
    assert answers(exchange) == [("18DAF110", (b"\x49\x02\x01" + VIN.encode()).hex(" ").upper())]
    assert requests_sent(bus) == [("7DF", "09 02"), ("18DB33F1", "09 02")]
    assert bus.sent[-1][1:] == (0x18DA10F1, padded("30 00 00"))
    assert len(bus.exchange(requester, "01 00").answers) == 2
    assert requests_sent(bus)[2:] == [("18DB33F1", "01 00")], "once known, the others are not tried again"


def test_an_answer_of_all_units_expected_ends_it_early():
    bus = ObdBus(engine(), gearbox())
    requester = bus.requester()
    both = bus.exchange(requester, "01 00").units
    began = bus.ms
    assert bus.exchange(requester, "01 00", both).units == {ENGINE, GEARBOX}
    assert bus.ms - began < 100
    assert bus.exchange(requester, "01 0D", both).units == {ENGINE}


def test_answers_to_something_else_get_no_flow_control():
    bus = ObdBus(ControlUnit(ENGINE))
    bus.others(25, ENGINE, "10 0E 43 06 01 43 01 96")
    bus.others(26, GEARBOX, "10 14 49 04 01 41 30 54")
    bus.others(27, GEARBOX, "03 41 0C 00")
    bus.others(28, GEARBOX, "03 7F 22 31")
    bus.others(29, GEARBOX, "21 41 0C 00")
    exchange = bus.exchange(bus.requester(), "09 02")
    assert exchange.is_silent
    assert [d for _, _, d in bus.sent] == [padded("02 09 02")] * 2


@pytest.mark.parametrize("flags", [REMOTE, ERROR, LATE, FD], ids=["remote", "error", "late", "FD"])
def test_frames_that_are_no_answers(flags):
    bus = ObdBus()
    requester = bus.requester()
    requester.ask(b"\x01\x0d")
    bus.turn(requester)
    requester.feed(batch_of([(bus.now_ns, ENGINE, padded("03 41 0D 3C"), flags)], bus.now_ns))
    for _ in range(100):
        exchange = bus.turn(requester)
        if exchange is not None:
            break
    assert exchange.is_silent


@pytest.mark.parametrize("echoes", [False, True], ids=["no echo", "adapter hands back what is sent"])
def test_own_frames_are_no_other_tester(echoes):
    bus = ObdBus(engine(), echoes=echoes)
    requester = bus.requester()
    for _ in range(20):
        assert answers(bus.exchange(requester, "09 02"))
    assert requester.manners.testers.seen is None


def test_a_bus_that_is_gone_ends_the_exchange():
    bus = ObdBus(engine())
    bus.is_gone = True
    exchange = bus.exchange(bus.requester(), "01 0D")
    assert exchange.trouble == 'The adapter of the bus "body" is gone.'
    assert exchange.sent_ns is None


def test_a_bus_that_goes_in_the_middle_ends_the_exchange():
    bus = ObdBus(engine())
    requester = bus.requester()
    requester.ask(bytes.fromhex("09 02"))
    assert bus.turn(requester) is None
    bus.is_gone = True
    exchange = bus.turn(requester)
    assert exchange is not None
    assert (exchange.trouble, exchange.half) == ('The adapter of the bus "body" is gone.', (ENGINE,))


def test_a_source_that_gets_no_further_does_not_hold_up_the_end():
    bus = ObdBus()
    requester = bus.requester()
    requester.ask(b"\x01\x0d")
    assert requester.step(START) is None
    for _ in range(100):
        bus.now_ns += 50 * MS
        if requester.step(bus.now_ns) is not None:
            break
    assert bus.ms == 2550, "0.2 s and 1 s of grace, once for each length of identifier"


# Services that may be asked: design of the tool; SAE J1979 for the PIDs in a request (from memory).
REFUSED = [
    ("04", 'The service "04" is never asked for.\nServices 01, 03, 07, 09 and 0A are.'),
    ("02 0C 00", 'The service "02" is never asked for.\nServices 01, 03, 07, 09 and 0A are.'),
    ("08 01", 'The service "08" is never asked for.\nServices 01, 03, 07, 09 and 0A are.'),
    ("22 F1 90", 'The service "22" is never asked for.\nServices 01, 03, 07, 09 and 0A are.'),
    ("27 01", 'The service "27" is never asked for.\nServices 01, 03, 07, 09 and 0A are.'),
    ("2E F1 90 00", 'The service "2E" is never asked for.\nServices 01, 03, 07, 09 and 0A are.'),
    ("", 'The service "" is never asked for.\nServices 01, 03, 07, 09 and 0A are.'),
    ("01", '"01" is no OBD request: service 01 has 1 to 6 numbers after it.'),
    ("01 01 02 03 04 05 06 07", '"01 01 02 03 04 05 06 07" is no OBD request: service 01 has 1 to 6 numbers after it.'),
    ("09 02 04", '"09 02 04" is no OBD request: service 09 has 1 number after it.'),
    ("03 00", '"03 00" is no OBD request: service 03 has none after it.'),
]


@pytest.mark.parametrize(("request_text", "message"), REFUSED, ids=[text or "empty" for text, _ in REFUSED])
def test_never_asked(request_text, message):
    bus = ObdBus(engine())
    with pytest.raises(DeviceError) as caught:
        bus.requester().ask(bytes.fromhex(request_text))
    assert str(caught.value) == message
    assert bus.sent == []


def test_only_reading_services():
    allowed = []
    for service in range(256):
        for rest in (b"", b"\x02"):
            try:
                refuse_request(bytes((service,)) + rest)
                allowed.append((service, rest))
            except DeviceError:
                pass
    assert allowed == [(1, b"\x02"), (3, b""), (7, b""), (9, b"\x02"), (10, b"")]


@pytest.mark.parametrize(
    ("pids", "expected"),
    [
        ("", []),
        ("0C", ["01 0C"]),
        ("0C 0D 42 05 0F 11", ["01 0C 0D 42 05 0F 11"]),
        ("0C 0D 42 05 0F 11 2F", ["01 0C 0D 42 05 0F 11", "01 2F"]),
    ],
    ids=["none", "one", "six", "seven"],
)
def test_pids_are_grouped(pids, expected):
    assert [one.hex(" ").upper() for one in grouped(list(bytes.fromhex(pids)))] == expected


def test_timing_of_the_standard():
    """Rows of ISO 15765-4 and ISO 14229-2, see the source column."""
    from busprobe import obd_identifiers as obd_ids
    from busprobe.sources import manners, talk

    rows = {row["item"]: row["value"] for row in csv.DictReader((DATA / "addressing_timing.csv").open())}
    assert rows["functional request 11-bit"] == f"{obd_ids.ALL_11:X}"
    assert rows["functional request 29-bit"] == f"{obd_ids.ALL_29:X}"
    for number in range(8):
        answer = 0x7E8 + number
        assert (
            rows[f"ECU {number + 1} physical request / response 11-bit"] == f"{obd_ids.asking(answer):X} -> {answer:X}"
        )
    assert rows["physical request 29-bit"].startswith("18DAxxF1")
    assert rows["response 29-bit"].startswith("18DAF1xx")
    assert f"{obd_ids.asking(0x18DAF110):X}" == "18DA10F1"
    assert int(rows["P2 server max"].split()[0]) * MS < talk.ANSWER_NS
    assert int(rows["P2* server max (after 78)"].split()[0]) * MS == talk.PENDING_NS
    assert int(rows["N_Cr"].split()[0]) * MS == talk.NEXT_FRAME_NS
    assert rows["OBD tester FC"] == "BS = 0, STmin = 0"
    assert rows["OBD frame DLC"] == "always 8 (padded)"
    assert int(rows["S3 server"].split()[0]) * MS == manners.QUIET_NS


def test_the_simulated_units_and_an_endpoint_of_can_isotp_agree():
    """A whole can-isotp endpoint, not ours, asks the simulated unit for its VIN."""
    bus = ObdBus(engine())
    inbox = []
    layer = isotp.TransportLayerLogic(
        rxfn=lambda _: inbox.pop(0) if inbox else None,
        txfn=lambda m: bus.units.feed(bus.now_ns, m.arbitration_id, bytes(m.data)),
        address=isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=ENGINE, txid=0x7E0),
        params={"tx_padding": 0, "blocksize": 1},
    )
    layer.send(b"\x09\x02")
    for _ in range(50):
        layer.process()
        batch = bus.advance()
        for identifier, word in zip(batch.identifier.tolist(), batch.payload.tolist(), strict=True):
            inbox.append(isotp.CanMessage(identifier, 8, word.to_bytes(8, "little")))
        if layer.available():
            break
    assert bytes(layer.recv()) == b"\x49\x02\x01" + VIN.encode()
