"""BLF: literal objects and what they say, containers, damage with its exact messages."""

import struct
import zlib

import can
import numpy as np
import pytest

from busprobe.errors import FormatError, Problems
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SENT, SWITCHED, join_frames
from busprobe.sources.blf import FORMAT

START = (2026, 11, 3, 25, 7, 24, 0, 250)
"""25 November 2026, 07:24:00.250."""
START_NS = 1_795_591_440_250_000_000
"""The same, from `date -u -d "2026-11-25 07:24:00" +%s`."""
PAYLOAD = bytes(range(1, 65))
EXTENDED_BIT = 0x8000_0000


def file_header(start=START, file_size=0, size=144):
    return struct.pack("<4sL8xQQLL8H8H", b"LOGG", size, file_size, 0, 0, 0, *start, *start).ljust(144, b"\0")


def thing(kind, body, ticks=0, flags=2, version=1):
    """An object with its header and padding."""
    header_size = {1: 32, 2: 40}.get(version, 32)
    size = header_size + len(body)
    head = struct.pack("<4sHHLLLLQ", b"LOBJ", header_size, version, size, kind, flags, 0, ticks)
    return head.ljust(header_size, b"\0") + body + bytes(size % 4)


def message(identifier, data=b"", dlc=None, flags=0, channel=1):
    dlc = len(data) if dlc is None else dlc
    return struct.pack("<HBBL8s", channel, flags, dlc, identifier, data)


def fd_message(identifier, data, dlc, fd_flags, flags=0, channel=1):
    head = struct.pack("<HBBLLBBB5x", channel, flags, dlc, identifier, 0, 0, fd_flags, len(data))
    return head + data.ljust(64, b"\0")


def fd_message_64(identifier, data, dlc, flags, valid=None, direction=0, extra=0, after=b""):
    valid = len(data) if valid is None else valid
    timing = (0, 0, 0, 0)
    head = struct.pack("<BBBBLLL4LHBBL", 3, dlc, valid, 0, identifier, 0, flags, *timing, 0, direction, extra, 0)
    return head + data + after


def container(data, packing=2, cut=0):
    packed = zlib.compress(data) if packing == 2 else data
    size = 32 + len(packed)
    head = struct.pack("<4sHHLLH6xL4x", b"LOBJ", 16, 1, size, 10, packing, len(data))
    return head + packed + bytes(size % 4)


def numbered(count, first=0):
    """Usual frames: identifiers and times count up."""
    return [thing(1, message(0x100 + row, bytes([row, 0xAB])), row * 1000) for row in range(first, first + count)]


def read(tmp_path, content, rows=100_000):
    path = tmp_path / "drive.blf"
    path.write_bytes(content)
    problems = Problems()
    batch = join_frames(list(FORMAT.read(path, problems, rows)))
    return batch, [str(problem).removeprefix(f"{path}: ") for problem in problems.items]


def read_whole(tmp_path, *objects):
    batch, messages = read(tmp_path, file_header() + container(b"".join(objects)))
    assert messages == []
    return batch


FRAMES = {
    "standard": (thing(1, message(0x123, b"\x01\x02\x03")), ("0", 0x123, 0, 3, PAYLOAD[:3])),
    "second kind of message": (thing(86, message(0x7FF, PAYLOAD[:8])), ("0", 0x7FF, 0, 8, PAYLOAD[:8])),
    "extended": (thing(1, message(EXTENDED_BIT | 0x18FEF100, b"\xff")), ("0", 0x18FEF100, EXTENDED, 1, b"\xff")),
    "sent": (thing(1, message(0x100, b"", flags=0x01)), ("0", 0x100, SENT, 0, b"")),
    "remote": (thing(1, message(0x100, b"rest", dlc=5, flags=0x80)), ("0", 0x100, REMOTE, 5, b"")),
    "remote, sent": (thing(1, message(0x100, flags=0x81)), ("0", 0x100, REMOTE | SENT, 0, b"")),
    "bytes past the length": (thing(1, message(0x100, b"\x01\xaa\xbb", dlc=1)), ("0", 0x100, 0, 1, b"\x01")),
    "DLC 15 of a classic frame is 8 bytes": (
        thing(1, message(0x100, PAYLOAD[:8], dlc=15)),
        ("0", 0x100, 0, 8, PAYLOAD[:8]),
    ),
    "channel 4": (thing(1, message(0x100, channel=4)), ("3", 0x100, 0, 0, b"")),
    "header of version 2": (thing(1, message(0x123, b"\x07"), version=2), ("0", 0x123, 0, 1, b"\x07")),
    "error frame": (thing(2, struct.pack("<HH", 2, 0)), ("1", 0, ERROR, 0, b"")),
    "error frame with details": (
        thing(73, struct.pack("<HHLBBBxLLH2x8s", 2, 0, 0, 5, 0, 8, 0, 0x77, 0, PAYLOAD[:8])),
        ("1", 0x77, ERROR, 0, b""),
    ),
    "FD": (thing(100, fd_message(0x200, PAYLOAD[:12], 9, 0x1)), ("0", 0x200, FD, 12, PAYLOAD[:12])),
    "FD, BRS, ESI, 64 bytes": (
        thing(100, fd_message(EXTENDED_BIT | 5, PAYLOAD, 15, 0x7, flags=1, channel=2)),
        ("1", 5, EXTENDED | FD | SWITCHED | PASSIVE | SENT, 64, PAYLOAD),
    ),
    "classic frame in an FD object": (
        thing(100, fd_message(0x201, PAYLOAD[:8], 8, 0)),
        ("0", 0x201, 0, 8, PAYLOAD[:8]),
    ),
    "FD object of 64": (
        thing(101, fd_message_64(0x300, PAYLOAD[:20], 11, 0x1000 | 0x2000)),
        ("2", 0x300, FD | SWITCHED, 20, PAYLOAD[:20]),
    ),
    "FD object of 64, ESI, sent": (
        thing(101, fd_message_64(EXTENDED_BIT | 9, PAYLOAD[:3], 3, 0x5000, direction=1)),
        ("2", 9, EXTENDED | FD | PASSIVE | SENT, 3, PAYLOAD[:3]),
    ),
    "FD object of 64, remote": (
        thing(101, fd_message_64(0x300, b"", 5, 0x10)),
        ("2", 0x300, REMOTE, 5, b""),
    ),
    "more valid bytes than stored are zero": (
        thing(101, fd_message_64(0x300, PAYLOAD[:3], 8, 0x1000, valid=8)),
        ("2", 0x300, FD, 8, PAYLOAD[:3] + bytes(5)),
    ),
    "extra data behind the payload is not payload": (
        thing(101, fd_message_64(0x300, PAYLOAD[:3], 8, 0x1000, valid=8, extra=32 + 40 + 3, after=b"\xee" * 9)),
        ("2", 0x300, FD, 8, PAYLOAD[:3] + bytes(5)),
    ),
}


@pytest.mark.parametrize(("written", "expected"), FRAMES.values(), ids=FRAMES)
def test_frame(written, expected, tmp_path):
    batch = read_whole(tmp_path, written)
    channel, identifier, flags, length, payload = expected
    assert (batch.channels, list(batch.channel)) == ((channel,), [0])
    assert (int(batch.identifier[0]), int(batch.flags[0]), int(batch.length[0])) == (identifier, flags, length)
    assert batch.words()[0].tobytes().ljust(64, b"\0") == payload.ljust(64, b"\0")


def test_all_kinds_in_one_file_keep_their_order(tmp_path):
    mixed = [written for written, _ in FRAMES.values()]
    batch = read_whole(tmp_path, *mixed)
    assert [int(identifier) for identifier in batch.identifier] == [frame[1] for _, frame in FRAMES.values()]
    words = batch.words()
    for row, (_, (channel, _, _, _, payload)) in enumerate(FRAMES.values()):
        assert batch.channels[batch.channel[row]] == channel
        assert words[row].tobytes() == payload.ljust(64, b"\0")


TIMES = {
    "nanoseconds": (2, 123_456_789, START_NS + 123_456_789),
    "10 us": (1, 12_345, START_NS + 123_450_000),
    "other flags are nanoseconds": (0, 7, START_NS + 7),
    "longer than four bytes": (2, 5_000_000_000_123, START_NS + 5_000_000_000_123),
}


@pytest.mark.parametrize(("flags", "ticks", "expected"), TIMES.values(), ids=TIMES)
def test_time(flags, ticks, expected, tmp_path):
    batch = read_whole(tmp_path, thing(1, message(1), ticks, flags))
    assert list(batch.t_ns) == [expected]


@pytest.mark.parametrize("start", [(0,) * 8, (2026, 13, 0, 1, 0, 0, 0, 0), (2026, 1, 0, 1, 0, 0, 0, 1000)])
def test_a_start_that_is_no_date_counts_from_zero(start, tmp_path):
    batch, _ = read(tmp_path, file_header(start) + container(thing(1, message(1), 42)))
    assert list(batch.t_ns) == [42]


def test_times_equal_those_of_python_can(tmp_path):
    path = tmp_path / "drive.blf"
    with can.BLFWriter(path) as writer:
        for row in range(1000):
            writer.on_message_received(can.Message(timestamp=1_700_000_000.123456 + row * 0.001237, data=b"1"))
    batch = join_frames(list(FORMAT.read(path, Problems(strict=True), 300)))
    with can.BLFReader(path) as reader:
        expected = np.array([round(message.timestamp * 1e6) for message in reader])
    assert np.abs(batch.t_ns - expected * 1000).max() <= 1000


def test_objects_may_span_containers(tmp_path):
    objects = b"".join([*numbered(6), thing(100, fd_message(0x200, PAYLOAD, 15, 1)), *numbered(6, first=6)])
    whole = read_whole(tmp_path, objects)
    assert len(whole) == 13
    for size in (*range(1, 40), *range(40, len(objects), 17)):
        parts = [objects[at : at + size] for at in range(0, len(objects), size)]
        content = file_header() + b"".join(container(part, packing=size % 2 * 2) for part in parts)
        for rows in (3, 100):
            batch, messages = read(tmp_path, content, rows)
            assert messages == []
            assert batch.t_ns.tobytes() == whole.t_ns.tobytes()
            assert batch.words().tobytes() == whole.words().tobytes()


SPOOFS = [b"LOBJ", b"LOBJLOBJ", b"\0LOBJ", b"LOBJ\x20\0\x01\0", b"ALOB", b"\0\0\0\0LOBJ"]


@pytest.mark.parametrize("payload", SPOOFS, ids=repr)
@pytest.mark.parametrize("size", [1000, 47, 10])
def test_payload_with_the_signature(payload, size, tmp_path):
    objects = [thing(1, message(0x100 + row, payload), row) for row in range(20)]
    objects.insert(7, thing(100, fd_message(0x50, payload * 8, 15, 1), 6))
    stream = b"".join(objects)
    parts = [stream[at : at + size] for at in range(0, len(stream), size)]
    batch, messages = read(tmp_path, file_header() + b"".join(map(container, parts)))
    assert messages == []
    assert len(batch) == 21
    assert batch.payload.tobytes() == b"".join(
        (payload * 8)[:8] if r == 7 else payload.ljust(8, b"\0") for r in range(21)
    )


@pytest.mark.parametrize("padding", [b"", b"\0", b"\0\0", b"\0\0\0"], ids=len)
@pytest.mark.parametrize("extra", range(5))
def test_other_objects_are_passed_over_whatever_their_size(padding, extra, tmp_path):
    note = thing(65, b"x" * (16 + extra)) + padding[: 4 - (48 + extra) % 4]
    objects = []
    for frame in numbered(10):
        objects += [frame, note]
    batch = read_whole(tmp_path, *objects)
    assert [int(identifier) for identifier in batch.identifier] == list(range(0x100, 0x10A))


def test_frames_outside_any_container(tmp_path):
    content = (
        file_header() + b"".join(numbered(5)) + thing(115, b"position") + container(b"".join(numbered(5, first=5)))
    )
    batch, messages = read(tmp_path, content)
    assert messages == []
    assert [int(identifier) for identifier in batch.identifier] == list(range(0x100, 0x10A))


def test_channels_are_named_in_their_order(tmp_path):
    objects = [thing(1, message(1, channel=number)) for number in (3, 1, 3, 2)]
    batch = read_whole(tmp_path, *objects)
    assert batch.channels == ("2", "0", "1")
    assert list(batch.channel) == [0, 1, 0, 2]


def test_batches_know_how_far_they_are_complete(tmp_path):
    path = tmp_path / "drive.blf"
    times = [10, 50, 20, 40, 70]
    objects = [thing(1, message(1), ticks) for ticks in times]
    path.write_bytes(file_header() + b"".join(map(container, objects)))
    batches = list(FORMAT.read(path, Problems(strict=True), 1))
    assert [int(batch.t_ns[0]) - START_NS for batch in batches] == times
    assert [batch.complete_to_ns - START_NS for batch in batches] == [10, 50, 50, 50, 70]


# Damage


def spoil(data, place, new):
    return data[:place] + new + data[place + len(new) :]


GOOD = container(b"".join(numbered(3)))
"""Frames 100 to 102; it begins at byte 144."""
MORE = container(b"".join(numbered(3, first=3)))
NEXT = 144 + len(GOOD)
PLAIN = container(b"".join(numbered(3)), packing=0)
IN_PLAIN = 32
"""Where the first object begins in `PLAIN`."""
RANDOM = np.random.default_rng(7).bytes(8 * 2000)
LONG = container(b"".join(thing(1, message(7, RANDOM[8 * row : 8 * row + 8])) for row in range(2000)))

DAMAGE = {
    "cut container": (
        GOOD + MORE[:40],
        range(0x100, 0x103),
        [f"The file ends inside a container at byte {NEXT}; the frames in it are lost."],
    ),
    "cut in the header of a container": (
        GOOD + MORE[:20],
        range(0x100, 0x103),
        [f"The file ends inside a container at byte {NEXT}; the frames in it are lost."],
    ),
    "cut in the signature of a container": (
        GOOD + MORE[:3],
        range(0x100, 0x103),
        [f"The file ends inside a container at byte {NEXT}; the frames in it are lost."],
    ),
    "cut plain container": (
        GOOD + container(b"".join(numbered(3, first=3)), packing=0)[:-20],
        range(0x100, 0x105),
        [f"The file ends inside a container at byte {NEXT}; the frames in it are lost but for the first 2."],
    ),
    "object that nothing ends": (
        container(b"".join(numbered(3))[:-10]),
        range(0x100, 0x102),
        ["The file ends inside an object, which is lost."],
    ),
    "container that does not unpack": (
        spoil(GOOD, 40, b"\xff\xff\xff") + MORE,
        range(0x103, 0x106),
        ["The container at byte 144 cannot be unpacked; the frames in it are lost."],
    ),
    "container of an unknown packing": (
        spoil(GOOD, 16, b"\x05") + MORE,
        range(0x103, 0x106),
        ["The container at byte 144 cannot be unpacked; the frames in it are lost."],
    ),
    "container whose signature is gone": (
        GOOD + spoil(MORE, 0, b"X") + GOOD,
        [*range(0x100, 0x103)] * 2,
        [f"The container at byte {NEXT} is damaged; the frames in it are lost."],
    ),
    "container whose size is wrong": (
        spoil(GOOD, 8, b"\xff\xff\xff\x7f") + MORE,
        range(0x103, 0x106),
        ["The container at byte 144 is damaged; the frames in it are lost."],
    ),
    "signature of an object gone": (
        spoil(PLAIN, IN_PLAIN + 48, b"X") + MORE,
        [0x100, *range(0x102, 0x106)],
        ["48 bytes in the container at byte 144 skipped: no object."],
    ),
    "signature of the first object gone": (
        spoil(PLAIN, IN_PLAIN, b"X"),
        range(0x101, 0x103),
        ["48 bytes in the container at byte 144 skipped: no object."],
    ),
    "object whose size is wrong": (
        spoil(PLAIN, IN_PLAIN + 48 + 8, b"\x80") + MORE,
        [0x100, *range(0x102, 0x106)],
        ["48 bytes in the container at byte 144 skipped: no object."],
    ),
    "object whose size is zero": (
        spoil(PLAIN, IN_PLAIN + 48 + 8, b"\0") + MORE,
        [0x100, *range(0x102, 0x106)],
        ["48 bytes in the container at byte 144 skipped: no object."],
    ),
    "object whose size is huge": (
        spoil(PLAIN, IN_PLAIN + 48 + 8, b"\xff\xff\xff\xff") + MORE,
        [0x100, *range(0x102, 0x106)],
        ["48 bytes in the container at byte 144 skipped: no object."],
    ),
    "damage in the second container": (
        GOOD + spoil(PLAIN, IN_PLAIN + 48, b"X"),
        [*range(0x100, 0x103), 0x100, 0x102],
        [f"48 bytes in the container at byte {NEXT} skipped: no object."],
    ),
    "object of an unknown version": (
        container(thing(1, message(1), version=3) + numbered(1)[0]),
        [0x100],
        ["An object in the container at byte 144 is damaged; that frame is lost."],
    ),
    "object too short for its type": (
        container(thing(100, bytes(16)) + numbered(1)[0]),
        [0x100],
        ["An object in the container at byte 144 is damaged; that frame is lost."],
    ),
    "object with a time of centuries": (
        container(thing(1, message(1), ticks=1 << 63) + numbered(1)[0]),
        [0x100],
        ["An object in the container at byte 144 is damaged; that frame is lost."],
    ),
    "object with an impossible channel": (
        container(thing(1, message(1, channel=0xFFFF)) + numbered(1)[0]),
        [0x100],
        ["An object in the container at byte 144 is damaged; that frame is lost."],
    ),
    "object that spans into a lost container": (
        container(b"".join(numbered(3))[:100], packing=0)
        + spoil(container(b"".join(numbered(3))[100:] + bytes(60)), 40, b"\xff\xff")
        + MORE,
        [0x100, 0x101, *range(0x103, 0x106)],
        ["The container at byte 276 cannot be unpacked; the frames in it are lost."],
    ),
}


@pytest.mark.parametrize(("content", "identifiers", "messages"), DAMAGE.values(), ids=DAMAGE)
def test_damage(content, identifiers, messages, tmp_path):
    batch, found = read(tmp_path, file_header() + content)
    assert found == messages
    assert [int(identifier) for identifier in batch.identifier] == list(identifiers)


def test_start_of_a_cut_container_is_kept(tmp_path):
    batch, found = read(tmp_path, file_header() + GOOD + LONG[: len(LONG) // 2])
    kept = len(batch) - 3
    assert 500 < kept < 1500
    assert batch.payload[3:].tobytes() == RANDOM[: 8 * kept]
    assert found == [
        f"The file ends inside a container at byte {NEXT}; the frames in it are lost but for the first {kept}."
    ]


def test_header_that_knows_of_more(tmp_path):
    batch, found = read(tmp_path, file_header(file_size=5000) + GOOD)
    assert len(batch) == 3
    assert found == [f"The file is {NEXT} bytes long and its header says 5000: its end is lost."]


NO_HEADER = {
    "cut": (file_header()[:60], "The file ends inside its header: 60 of 144 bytes are there."),
    "only the signature": (b"LOGG", "The file ends inside its header: 4 of 144 bytes are there."),
    "size of nonsense": (file_header(size=12), 'The header says "12" as its own size; it is 72 bytes or more.'),
    "another file": (b"(0.1) can0 123#", 'The file does not begin with "LOGG" as a BLF recording does.'),
}


@pytest.mark.parametrize(("content", "message"), NO_HEADER.values(), ids=NO_HEADER)
def test_file_without_a_usable_header(content, message, tmp_path):
    path = tmp_path / "drive.blf"
    path.write_bytes(content)
    with pytest.raises(FormatError) as caught:
        list(FORMAT.read(path, Problems(), 100))
    assert str(caught.value) == f"{path}: {message}\nCopy the file once more from the recorder, or choose another one."


def test_no_single_wrong_byte_costs_more_than_two_frames(tmp_path):
    objects = b"".join(numbered(6))
    for place in range(len(objects)):
        for value in (0xFF, 0x4C):
            batch, _ = read(tmp_path, file_header() + container(spoil(objects, place, bytes([value]))))
            assert len(batch) >= 4, (place, value)


def test_no_wrong_byte_and_no_cut_stops_the_reader(tmp_path):
    content = file_header() + GOOD + PLAIN + MORE
    ends = [144, NEXT, NEXT + len(PLAIN), len(content)]
    for place in range(144, len(content)):
        batch, _ = read(tmp_path, spoil(content, place, b"\xff"))
        assert len(batch) >= 5, place
        batch, messages = read(tmp_path, content[:place])
        assert len(batch) <= 9  # all of them where only a checksum is cut
        rest_of_container = content[place : min(end for end in ends if end >= place)]
        assert messages or not rest_of_container.strip(b"\0"), place
