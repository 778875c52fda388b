"""OBD traffic on the bus: from frames to readings, codes, identities and requests."""

import csv
import dataclasses
import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.decode.obd import Codes, Identity, Listener, Negative, Reading, Request
from busprobe.decode.trouble_codes import code_texts
from busprobe.frames import ERROR, EXTENDED, FD, LATE, REMOTE, SENT, FrameBatch, Tail, empty_frames

DATA = Path(__file__).parent / "data"
MS = 1_000_000
ALL, UNIT_REQUEST, UNIT, OTHER = 0x7DF, 0x7E0, 0x7E8, 0x7E9
CHANNELS = ("body", "engine")


def batch_of(frames, channels=CHANNELS):
    """A batch of (time in ms, identifier, hex data[, flags[, channel index]])."""
    frames = [
        (t, i, bytes.fromhex(d), flags | (EXTENDED if i > 0x7FF else 0), c)
        for t, i, d, flags, c in ((*frame, 0, 0)[:5] for frame in frames)
    ]
    words = np.array([np.frombuffer(d.ljust(64, b"\0"), "<u8") for _, _, d, _, _ in frames], np.uint64).reshape(-1, 8)
    long = np.flatnonzero([len(d) > 8 for _, _, d, _, _ in frames])
    return FrameBatch(
        np.array([round(t * MS) for t, *_ in frames], np.int64),
        channels,
        np.array([c for *_, c in frames], np.uint8),
        np.array([i for _, i, *_ in frames], np.uint32),
        np.array([flags for _, _, _, flags, _ in frames], np.uint8),
        np.array([len(d) for _, _, d, _, _ in frames], np.uint8),
        words[:, 0].copy(),
        Tail(long.astype(np.int64), words[long, 1:]) if len(long) else None,
    )


def heard(*frames):
    """Everything that a listener says about the frames."""
    return Listener().feed(batch_of(frames))


def answered(*frames):
    """The same without the requests."""
    return [record for record in heard(*frames) if not isinstance(record, Request)]


def test_a_request_and_its_answer():
    assert heard((100, ALL, "02010D0000000000"), (112, UNIT, "03410D3C00000000")) == [
        Request(100 * MS, "body", ALL, 0x01, (0x0D,), was_sent=False),
        Reading(112 * MS, "body", UNIT, 0x01, 0x0D, "0D", "Vehicle speed", 60.0, "km/h", 100 * MS, raw=60),
    ]


def test_an_answer_without_a_request_is_decoded_too():
    assert heard((112, UNIT, "03410D3C00000000")) == [
        Reading(112 * MS, "body", UNIT, 0x01, 0x0D, "0D", "Vehicle speed", 60.0, "km/h", None, raw=60)
    ]


def test_several_pids_in_one_answer():
    """A longer answer, flow control of the tester, answer stamped with its last frame."""
    records = heard(
        (0, ALL, "0401 0C 0D 42 000000".replace(" ", "")),
        (10, UNIT, "1009 41 0C1AF8 0D3C".replace(" ", "")),
        (11, UNIT_REQUEST, "3000000000000000"),
        (20, UNIT, "21 42 3390 AAAAAAAA".replace(" ", "")),
    )
    assert records[0].pids == (0x0C, 0x0D, 0x42)
    assert [(r.t_ns, r.name, r.value, r.unit, r.request_t_ns) for r in records[1:]] == [
        (20 * MS, "0C", 1726.0, "rpm", 0),
        (20 * MS, "0D", 60.0, "km/h", 0),
        (20 * MS, "42", pytest.approx(13.2), "V", 0),
    ]


def test_labels_conditions_and_lists_carry_their_raw_number():
    records = answered((0, UNIT, "0341510400000000"), (1, UNIT, "0641018107650400"), (2, UNIT, "064100BE1FA81300"))
    found = {r.name: (r.value, r.raw) for r in records}
    assert found["51"] == ("diesel", 4)
    assert found["01.mil"] == (True, 1)
    assert found["00"][0] == (
        "01",
        "03",
        "04",
        "05",
        "06",
        "07",
        "0C",
        "0D",
        "0E",
        "0F",
        "10",
        "11",
        "13",
        "15",
        "1C",
        "1F",
        "20",
    )
    assert found["00"][1] == 0xBE1FA813


def test_freeze_frame_values_cannot_be_taken_for_live_ones():
    (reading,) = answered((0, UNIT, "05420C001AF80000"))
    assert (reading.service, reading.name, reading.value) == (0x02, "freeze.0C", 1726.0)
    assert reading.title == "Engine speed (freeze frame 0)"


MESSAGES = list(csv.DictReader((DATA / "obd_messages.csv").open(encoding="utf-8")))
UNNAMED = "mode 03 non-CAN (no count byte)"
"""Not on CAN: see `test_without_a_count_byte`."""
EXPECTED = {
    "mode 03 request functional": Request(0, "body", ALL, 0x03, (), was_sent=False),
    "mode 03, none": Codes(0, "body", UNIT, 0x03, ()),
    "mode 03, 3 DTCs, multi-frame": Codes(0, "body", UNIT, 0x03, ("P0143", "P0196", "P0234")),
    "mode 03, 3 DTCs, AA padding": Codes(0, "body", UNIT, 0x03, ("P0143", "P0196", "P0234")),
    "mode 03, 6 DTCs, multi-frame": Codes(
        0, "body", UNIT, 0x03, ("P0143", "P0196", "P0234", "P02CD", "P0357", "P0A24")
    ),
    "mode 0A, 1 permanent": Codes(0, "body", UNIT, 0x0A, ("P0420",)),
    "mode 0A, none": Codes(0, "body", UNIT, 0x0A, ()),
    "mode 04 positive": Codes(0, "body", UNIT, 0x04, ()),
    "mode 04 refused, engine running": Negative(0, "body", UNIT, 0x04, 0x22, "conditionsNotCorrect", pending=False),
    "mode 01 PID 0D request": Request(0, "body", ALL, 0x01, (0x0D,), was_sent=False),
    "mode 01 PID 0D response": Reading(0, "body", UNIT, 1, 0x0D, "0D", "Vehicle speed", 60.0, "km/h", raw=60),
    "mode 01 multi-PID request 0C 0D": Request(0, "body", ALL, 0x01, (0x0C, 0x0D), was_sent=False),
    "mode 01 multi-PID 6 PIDs response": None,
    "mode 02 PID 0C frame 0": Reading(
        0, "body", UNIT, 2, 0x0C, "freeze.0C", "Engine speed (freeze frame 0)", 1726.0, "rpm", raw=0x1AF8
    ),
    "mode 09 PID 02 VIN (format example)": Identity(
        0, "body", UNIT, 0x02, "VIN", "1D4GP00R55B123456",
        'check digit is "5", computed "X"; outside North America it need not hold',
    ),
    "mode 09 PID 02 VIN (valid check digit)": Identity(
        0, "body", UNIT, 0x02, "VIN", "1M8GDM9AXKP042788", "check digit is right"
    ),
    "mode 09 PID 06 CVN, 1 item": Identity(0, "body", UNIT, 0x06, "Calibration verification number", "1791BC82"),
    "mode 09 PID 0A ECU name": Identity(0, "body", UNIT, 0x0A, "Control unit name", "ECM / EngineControl"),
    "mode 09 PID 00 supported": Identity(0, "body", UNIT, 0x00, "Information types supported", "02 04 06 08 0A"),
    "negative, service not supported": Negative(0, "body", UNIT, 0x0A, 0x11, "serviceNotSupported", pending=False),
}  # fmt: skip
"""What each row of obd_messages.csv says; None: its frames are only the beginning of an answer."""


@pytest.mark.parametrize("row", [r for r in MESSAGES if r["name"] != UNNAMED], ids=lambda row: row["name"])
def test_every_published_message(row):
    frames = [(0, int(i, 16), d.replace(" ", "")) for i, d in re.findall(r"(7\w\w) ([\w ]+)", row["frames"])]
    expected = EXPECTED[row["name"]]
    assert heard(*frames) == ([] if expected is None else [expected])


def test_the_published_beginning_of_six_pids_completes():
    """The row gives the first frame; the rest is made up to its length of 15 (PIDs 0B 0C 0D 0E 0F 10)."""
    readings = answered((0, UNIT, "100F410B210C0C38"), (1, UNIT, "210D000E800F4610"), (2, UNIT, "2201C20000000000"))
    assert [(r.name, r.value) for r in readings] == [
        ("0B", 33.0), ("0C", 782.0), ("0D", 0.0), ("0E", 0.0), ("0F", 30.0), ("10", 4.5),
    ]  # fmt: skip


def test_without_a_count_byte():
    """On other buses than CAN the codes follow the service at once; their text is the same."""
    (row,) = [row for row in MESSAGES if row["name"] == UNNAMED]
    assert " ".join(code_texts(bytes.fromhex(row["payload_hex"])[1:])) == row["expected"]


def test_all_messages_are_used():
    assert {row["name"] for row in MESSAGES} == {*EXPECTED, UNNAMED}


@pytest.mark.parametrize(
    ("request_frame", "answer", "paired"),
    [
        ((0, ALL, "02010D"), (50, UNIT, "03410D3C"), True),
        ((0, ALL, "02010D"), (50.1, UNIT, "03410D3C"), False),
        ((0, ALL, "02010D"), (-1, UNIT, "03410D3C"), False),
        ((0, ALL, "02010C"), (10, UNIT, "03410D3C"), False),
        ((0, ALL, "02090D"), (10, UNIT, "03410D3C"), False),
        ((0, UNIT_REQUEST, "02010D"), (10, UNIT, "03410D3C"), True),
        ((0, UNIT_REQUEST, "02010D"), (10, OTHER, "03410D3C"), False),
        ((0, ALL, "02010D", 0, 1), (10, UNIT, "03410D3C"), False),
        ((0, 0x18DB33F1, "02010D"), (10, 0x18DAF110, "03410D3C"), True),
        ((0, 0x18DA10F1, "02010D"), (10, 0x18DAF110, "03410D3C"), True),
        ((0, 0x18DA10F1, "02010D"), (10, 0x18DAF111, "03410D3C"), False),
        ((0, ALL, "02010D"), (10, 0x18DAF110, "03410D3C"), False),
    ],
    ids=["within P2", "after P2", "before", "another PID", "another service", "one unit", "another unit",
         "another channel", "29 bits", "29 bits, one unit", "29 bits, another unit", "11 and 29 bits"],
)  # fmt: skip
def test_which_request_an_answer_belongs_to(request_frame, answer, paired):
    (reading,) = answered(request_frame, answer)
    assert reading.request_t_ns == (0 if paired else None)


def test_two_units_answer_one_request():
    records = answered((0, ALL, "02010D"), (10, UNIT, "03410D3C"), (12, OTHER, "03410D3D"))
    assert [(r.unit_id, r.value, r.request_t_ns) for r in records] == [(UNIT, 60.0, 0), (OTHER, 61.0, 0)]


def test_the_newest_request_is_the_one_that_is_answered():
    (reading,) = answered((0, ALL, "02010D"), (20, ALL, "02010D"), (40, UNIT, "03410D3C"))
    assert reading.request_t_ns == 20 * MS


def test_a_long_answer_counts_from_its_first_frame():
    """The last of 3 frames may come after P2."""
    *_, vin = answered(
        (0, ALL, "020902"),
        (40, UNIT, "1014490201314D38"),
        (80, UNIT, "2147444D3941584B"),
        (120, UNIT, "2250303432373838"),
    )
    assert (vin.text, vin.request_t_ns) == ("1M8GDM9AXKP042788", 0)


@pytest.mark.parametrize(("t_ms", "paired"), [(5020, True), (5021, False)], ids=["within P2*", "after P2*"])
def test_pending_extends_the_wait(t_ms, paired):
    pending, reading = answered((0, ALL, "02010D"), (20, UNIT, "037F0178"), (t_ms, UNIT, "03410D3C"))
    assert pending == Negative(
        20 * MS, "body", UNIT, 0x01, 0x78, "requestCorrectlyReceived-ResponsePending", pending=True, request_t_ns=0
    )
    assert reading.request_t_ns == (0 if paired else None)


def test_pending_of_an_older_request_does_not_count_for_a_newer_one():
    (_, late) = answered((0, ALL, "02010D"), (20, UNIT, "037F0178"), (100, ALL, "02010C"), (200, UNIT, "04410C1AF8"))
    assert late.request_t_ns is None


@pytest.mark.parametrize(
    ("frame", "count"),
    [
        ((0, UNIT, "03410D3C"), 1),
        ((0, UNIT, "03410D3C", SENT), 1),
        ((0, UNIT, "03410D3C", LATE), 0),
        ((0, UNIT, "03410D3C", ERROR), 0),
        ((0, UNIT, "", REMOTE), 0),
        ((0, UNIT, "03410D3C", EXTENDED), 0),
        ((0, 0x7F0, "03410D3C"), 0),
        ((0, 0x7DE, "03410D3C"), 0),
        ((0, 0x18DAF1F1, "03410D3C"), 0),
        ((0, 0x18DA1011, "03410D3C"), 0),
        ((0, 0x18DB33F2, "03410D3C"), 0),
        ((0, 0x18DBF110, "03410D3C"), 0),
        ((0, 0x18DAF110, "03410D3C"), 1),
        ((0, 0x18DAF100, "03410D3C"), 1),
        ((0, UNIT, "0008410C1AF80D3C5104CCCC", FD), 3),
        ((0, UNIT, "0362F190"), 0),
        ((0, UNIT, "037E"), 0),
    ],
    ids=["answer", "answer of a simulated unit", "late", "error frame", "remote frame", "29-bit identifier 7E8", "7F0",
         "7DE", "tester to itself", "no tester", "request of another tester address", "functional answer", "29 bits",
         "29 bits, unit 00", "FD", "another service", "cut"],
)  # fmt: skip
def test_which_frames_count(frame, count):
    assert len(heard(frame)) == count


def test_requests_that_we_sent_are_told_apart():
    ours, others, flow = (0, ALL, "02010D", SENT), (1, UNIT_REQUEST, "020902"), (2, UNIT_REQUEST, "300000")
    assert [(r.was_sent, r.service, r.pids) for r in heard(ours, others, flow)] == [
        (True, 0x01, (0x0D,)),
        (False, 0x09, (0x02,)),
    ]


def test_a_freeze_frame_request_names_pids_and_frames():
    assert heard((0, ALL, "05020C000D00"))[0].pids == (0x0C, 0x0D)


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        ("43020143C100", [Codes(0, "body", UNIT, 0x03, ("P0143", "U0100"))]),
        ("47010A1B", [Codes(0, "body", UNIT, 0x07, ("P0A1B",))]),
        ("430201430000", [Codes(0, "body", UNIT, 0x03, ("P0143",))]),
        ("7F0121", [Negative(0, "body", UNIT, 0x01, 0x21, "busyRepeatRequest", pending=False)]),
        ("7F22F5", [Negative(0, "body", UNIT, 0x22, 0xF5, "unnamed code F5", pending=False)]),
    ],
    ids=["two codes", "service 07", "padding", "busy", "unnamed"],
)
def test_short_answers(payload, expected):
    assert heard((0, UNIT, f"{len(payload) // 2:02X}{payload}")) == expected


def as_frames(payload):
    """A payload of more than 7 bytes as frames of one unit."""
    data = bytes.fromhex(payload)
    first = (0x1000 | len(data)).to_bytes(2, "big") + data[:6]
    rest = [bytes([0x20 | n + 1 & 15]) + data[k : k + 7] for n, k in enumerate(range(6, len(data), 7))]
    return [(0, UNIT, frame.ljust(8, b"\0").hex()) for frame in (first, *rest)]


@pytest.mark.parametrize(
    ("payload", "texts"),
    [
        (
            "490402" + b"JMB*36761500".ljust(16, b"\0").hex() + b"CAL-2".ljust(16, b"\0").hex(),
            ["JMB*36761500", "CAL-2"],
        ),
        ("4906021791BC8200000001", ["1791BC82", "00000001"]),
        ("490201" + b"\0\0\0".hex() + b"1M8GDM9AXKP042788".hex(), ["1M8GDM9AXKP042788"]),
        ("490D01" + b"SN\x8112345".ljust(17, b"\0").hex(), ["SN?12345"]),
        ("490A01" + b"TCM\0-".ljust(20, b"\0").hex(), ["TCM"]),
        ("4908020001000200030004", ["00010002", "00030004"]),
    ],
    ids=["two calibrations", "two check sums", "VIN padded in front", "unprintable", "unit without a name", "counters"],
)
def test_information_of_service_09(payload, texts):
    """Item sizes and NUL padding as SAE J1979 has them (from memory); the number of items is in byte 3."""
    assert [record.text for record in heard(*as_frames(payload))] == texts


@pytest.mark.parametrize(
    ("payload", "records", "unknown", "malformed"),
    [
        ("410D3CB001", 1, {0xB0: 1}, 0),
        ("41B001", 0, {0xB0: 1}, 0),
        ("410C1A", 0, {}, 1),
        ("41", 0, {}, 1),
        ("43020143", 0, {}, 1),
        ("430001430196", 1, {}, 1),
        ("43", 0, {}, 1),
        ("4302", 0, {}, 1),
        ("7F01", 0, {}, 1),
        ("7F", 0, {}, 1),
        ("4902", 0, {}, 1),
        ("49020031", 0, {}, 1),
        ("490602313233", 0, {}, 1),
        ("490055", 1, {}, 1),
    ],
)
def test_what_cannot_be_decoded_is_counted(payload, records, unknown, malformed):
    listener = Listener()
    assert len(listener.feed(batch_of([(0, UNIT, f"{len(payload) // 2:02X}{payload}")]))) == records
    assert (dict(listener.unknown_pids), listener.malformed) == (unknown, malformed)


def test_broken_answers_are_counted_and_not_guessed():
    listener = Listener()
    lost = [(0, UNIT, "1014490201314D38"), (5, UNIT, "2250303432373838"), (6, OTHER, "1014490201314D38")]
    assert listener.feed(batch_of(lost)) == []
    assert listener.broken == 1
    listener.feed(empty_frames(CHANNELS, complete_to_ns=1007 * MS))
    assert listener.broken == 2


def test_nothing_was_broken_before_anything_was_heard():
    listener = Listener()
    assert listener.feed(empty_frames()) == []
    assert listener.broken == 0


def test_p2_can_be_set():
    (_, reading) = Listener(p2_ns=200 * MS).feed(batch_of([(0, ALL, "02010D"), (150, UNIT, "03410D3C")]))
    assert reading.request_t_ns == 0


def test_records_do_not_change():
    (reading,) = heard((0, UNIT, "03410D3C"))
    with pytest.raises(dataclasses.FrozenInstanceError):
        reading.value = 61.0


FRAME_DATA = st.one_of(
    st.sampled_from(
        ["02010D0000000000", "03410D3C00000000", "1014490201314D38", "2147444D3941584B", "2250303432373838", "037F0178",
         "3000000000000000", "02410DAA", "0441510441", "", "0341B001", "100943030143"]
    ).map(bytes.fromhex),
    st.binary(max_size=8),
    st.binary(min_size=12, max_size=12),
)  # fmt: skip
FRAMES = st.lists(
    st.tuples(
        st.integers(-50, 400),
        st.sampled_from([ALL, UNIT_REQUEST, UNIT, OTHER, 0x18DB33F1, 0x18DAF110, 0x123, 0x18FEF100]),
        FRAME_DATA,
        st.sampled_from([0, 0, 0, SENT, LATE, REMOTE]),
        st.integers(0, 1),
    ),
    max_size=40,
)


@settings(max_examples=150, deadline=None)
@given(FRAMES, st.lists(st.integers(0, 40), max_size=6))
def test_any_chunking_gives_the_same_records(steps, cuts):
    t_ms, frames = 0, []
    for step, identifier, data, flags, channel in steps:
        t_ms += step
        frames.append((t_ms, identifier, data.hex(), flags, channel))
    whole = batch_of(frames)
    edges = [0, *sorted(min(cut, len(frames)) for cut in cuts), len(frames)]
    at_once, in_parts = Listener(), Listener()
    records = at_once.feed(whole)
    parts = [whole.take(np.arange(a, b)) for a, b in pairwise(edges)]
    assert [record for part in parts for record in in_parts.feed(part)] == records
    assert (in_parts.broken, in_parts.unknown_pids, in_parts.malformed) == (
        at_once.broken, at_once.unknown_pids, at_once.malformed,
    )  # fmt: skip
