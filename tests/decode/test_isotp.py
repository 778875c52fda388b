"""Reassembly against ISO 15765-2: its frame kinds, sequences of an independent implementation, random messages."""

import csv
import re
from pathlib import Path

import isotp
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.decode.isotp import FlowStatus, Kind, Reassembler, parse

DATA = Path(__file__).parent / "data"
MS = 1_000_000
UNIT = 0x7E8


def rows(name):
    return list(csv.DictReader((DATA / name).open(encoding="utf-8")))


def describe(head):
    """A parsed frame in the words of isotp_pci.csv."""
    match head.kind:
        case Kind.SINGLE:
            return f"SF len={head.length}"
        case Kind.FIRST:
            return f"FF len={head.length}" + (" (escape)" if head.start == 6 else "")
        case Kind.CONSECUTIVE:
            return f"CF sn={head.number}" + (" (wrap)" if head.number == 0 else "")
    name = {FlowStatus.GO_ON: "CTS", FlowStatus.WAIT: "WAIT", FlowStatus.OVERFLOW: "OVFLW"}[head.status]
    text = f"FC fs={head.status.value} {name}"
    if head.status is not FlowStatus.GO_ON:
        return text
    return f"{text} bs={head.block} stmin={head.stmin_us // 1000}" + (" ms" if head.stmin_us else "")


@pytest.mark.parametrize("row", rows("isotp_pci.csv"), ids=lambda row: row["hex_bytes"])
def test_every_published_frame_kind(row):
    head = parse(bytes.fromhex(row["hex_bytes"]))
    if row["type"] == "invalid":
        assert head is None
    else:
        assert describe(head) == f"{row['type']} {row['expected']}"


@pytest.mark.parametrize("row", rows("isotp_stmin.csv"), ids=lambda row: row["stmin_hex"])
def test_every_published_separation_time(row):
    assert parse(bytes.fromhex(f"3000{row['stmin_hex']}")).stmin_us == int(row["expected_us"])


@pytest.mark.parametrize(
    "data",
    [
        pytest.param("", id="no byte"),
        pytest.param("03410D", id="single frame cut"),
        pytest.param("10144902013144", id="first frame cut"),
        pytest.param("3000", id="flow control cut"),
        pytest.param("00", id="no length"),
        pytest.param("F0", id="reserved kind"),
        pytest.param("00" * 12, id="FD, length 0"),
        pytest.param("0007" + "00" * 10, id="FD, length that needs no escape"),
        pytest.param("03410D3C" + "00" * 8, id="FD, no escape"),
        pytest.param("000B" + "00" * 10, id="FD, longer than its frame"),
        pytest.param("103E" + "00" * 62, id="FD, first frame of what fits a single one"),
    ],
)
def test_frames_to_be_ignored(data):
    """Length rules of ISO 15765-2:2016, from memory."""
    assert parse(bytes.fromhex(data)) is None


SEQUENCES = [row for row in rows("isotp_sequences.csv") if "..." not in row["frames"]]
"""The 4096-byte message is cut short in the file: `test_length_escape` makes it whole."""
CONTENTS = {
    "SF 7 bytes": "01020304050607",
    "SF 3 bytes, 00 padding": "410D3C",
    "MF 20 bytes (VIN)": "4902013144344750303052353542313233343536",
    "MF 14 bytes": "430601430196023402CD03570A24",
    "29-bit, VIN": "4902013144344750303052353542313233343536",
    "overflow: receiver buffer 100, FF 200": None,
}
"""Payloads that are not 00 01 02 ..; None: none comes out."""


def frames_of(text):
    """(identifier, data) of "7E8#.. | 7E0#.." ("##" is CAN FD)."""
    return [(int(i, 16), bytes.fromhex(d)) for i, d in re.findall(r"(\w+)##?(\w+)", text)]


@pytest.mark.parametrize("row", SEQUENCES, ids=lambda row: row["name"])
def test_every_published_sequence(row):
    messages = Reassembler()
    found = [messages.add(identifier, n * MS, data) for n, (identifier, data) in enumerate(frames_of(row["frames"]))]
    payloads = [message.payload for message in found if message]
    expected = CONTENTS.get(row["name"], bytes(range(int(row["payload_len"]))).hex())
    assert payloads == ([] if expected is None else [bytes.fromhex(expected)])
    assert messages.broken(0) == 0
    assert messages.broken(10_000 * MS) == (expected is None)


def test_length_escape():
    """A message of 4096 bytes has its length in 32 bits: 2 bytes in the first frame, 585 more frames."""
    payload = bytes(n & 0xFF for n in range(4096))
    frames = [bytes.fromhex("100000001000") + payload[:2]]
    frames += [bytes([0x20 | n + 1 & 15]) + payload[2 + 7 * n : 9 + 7 * n].ljust(7, b"\0") for n in range(585)]
    messages = Reassembler()
    found = [messages.add(UNIT, 0, frame) for frame in frames]
    assert found[:-1] == [None] * 585
    assert found[-1].payload == payload


FIRST, SECOND, THIRD = "1014490201314434", "2147503030523535", "2242313233343536"
LONG_LAST = "22" + "42313233343536" * 2


@pytest.mark.parametrize(
    ("frames", "lengths", "broken"),
    [
        ([(0, FIRST), (5, SECOND), (10, THIRD)], [20], 0),
        ([(0, FIRST), (5, THIRD), (10, SECOND)], [], 1),
        ([(0, FIRST), (10, THIRD)], [], 1),
        ([(0, FIRST), (5, SECOND), (6, SECOND), (10, THIRD)], [], 1),
        ([(0, FIRST), (5, FIRST), (10, SECOND), (15, THIRD)], [20], 1),
        ([(0, FIRST), (5, "03410D3C00000000"), (10, SECOND), (15, THIRD)], [3], 1),
        ([(0, FIRST), (5, "0000000000000000"), (6, "300000"), (7, "4000"), (10, SECOND), (15, THIRD)], [20], 0),
        ([(0, FIRST), (5, "1007010203040506"), (10, SECOND), (15, THIRD)], [20], 0),
        ([(0, FIRST), (1000, SECOND), (2000, THIRD)], [20], 0),
        ([(0, FIRST), (1001, SECOND), (1002, THIRD)], [], 1),
        ([(0, FIRST), (-1001, SECOND), (-1000, THIRD)], [], 1),
        ([(5, SECOND), (10, THIRD)], [], 0),
        ([(0, FIRST), (5, SECOND[:-2]), (10, THIRD)], [], 1),
        ([(0, FIRST), (5, SECOND), (10, THIRD[:-2])], [], 1),
        ([(0, FIRST), (5, SECOND), (10, LONG_LAST)], [], 1),
        ([(0, "100D490201314434"), (5, "2147503030523535")], [13], 0),
        ([(0, "100C490201314434"), (5, "214750303052")], [], 1),
        ([(0, "100C490201314434"), (5, "21475030305235")], [12], 0),
    ],
    ids=["whole", "swapped", "frame missing", "frame twice", "first frame replaced", "single frame between",
         "frames to ignore between", "bad first frame between", "just in time", "too late", "clock set back",
         "beginning missed", "short in the middle", "short at the end", "longer than the first", "fills up",
         "last one byte short", "last without padding"],
)  # fmt: skip
def test_what_breaks_a_message(frames, lengths, broken):
    messages = Reassembler()
    found = [messages.add(UNIT, t * MS, bytes.fromhex(data)) for t, data in frames]
    assert [len(message.payload) for message in found if message] == lengths
    assert messages.broken(10_000_000 * MS) == broken


def test_an_open_message_counts_as_broken_only_when_overdue():
    messages = Reassembler()
    messages.add(UNIT, 0, bytes.fromhex(FIRST))
    assert [messages.broken(t * MS) for t in (0, 1000, 1001)] == [0, 0, 1]
    messages.add(UNIT, 1001 * MS, bytes.fromhex(SECOND))
    assert messages.broken(1001 * MS) == 1


def test_a_message_has_the_time_of_its_first_frame():
    messages = Reassembler()
    found = [messages.add(UNIT, t, bytes.fromhex(d)) for t, d in [(100, FIRST), (200, SECOND), (300, THIRD)]]
    assert found[2].first_ns == 100


def segmented(payload, identifier, width):
    """The frames that an independent implementation sends for `payload`: (identifier, data)."""
    sent, to_unit, to_tester = [], [], []

    def endpoint(tx, rx, inbox, outbox):
        def transmit(message):
            sent.append((message.arbitration_id, bytes(message.data)))
            outbox.append(message)

        address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=tx, rxid=rx)
        params = {"tx_data_length": width, "tx_padding": 0xAA, "can_fd": width > 8, "blocksize": 4, "stmin": 0}
        return isotp.TransportLayerLogic(
            rxfn=lambda timeout=0: inbox.pop(0) if inbox else None, txfn=transmit, address=address, params=params
        )

    unit = endpoint(identifier, identifier - 8, to_unit, to_tester)
    tester = endpoint(identifier - 8, identifier, to_tester, to_unit)
    unit.send(payload)
    while unit.transmitting():
        unit.process()
        tester.process()
    return sent


payloads = st.lists(st.binary(min_size=1, max_size=150), min_size=1, max_size=3)


@settings(max_examples=60, deadline=None)
@given(payloads, payloads, st.sampled_from([8, 12, 64]), st.randoms(use_true_random=False))
def test_two_units_that_answer_at_once_equal_an_independent_implementation(first, second, width, random):
    queues = [
        [frame for payload in unit for frame in segmented(payload, identifier, width)]
        for unit, identifier in ((first, 0x7E8), (second, 0x7E9))
    ]
    messages, found, t_ns = Reassembler(), {}, 0
    while any(queues):
        identifier, data = random.choice([queue for queue in queues if queue]).pop(0)
        message = messages.add(("can0", identifier), t_ns, data)
        if message is not None:
            found.setdefault(identifier, []).append(message.payload)
        t_ns += MS
    assert found == {0x7E8: first, 0x7E9: second}
    assert messages.broken(t_ns) == 0
