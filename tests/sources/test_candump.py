"""Candump text: every form of a line, every damage, cuts, chunks, and fast against slow."""

from __future__ import annotations

import re
import tempfile
from fractions import Fraction
from pathlib import Path

import can
import contract
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.errors import FormatError, OpenError, Problems
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SENT, SWITCHED
from busprobe.sources import candump
from busprobe.sources.candump import FORMAT
from busprobe.sources.candump_line import parse_line
from busprobe.sources.rows import DamagedError, Row

T = "(1436509052.249713) "
T_NS = 1_436_509_052_249_713_000


def read(path: Path, content: bytes | str, rows: int = 1000) -> tuple[list[tuple], Problems]:
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    problems = Problems(keep=10**6)
    return contract.frames(contract.read_all(FORMAT, path, problems, rows)), problems


def as_frame(row: Row) -> tuple:
    return (row.t_ns, row.channel, row.identifier, row.flags, row.length, row.data.ljust(64, b"\0"))


# Each form of a line, read by the line parser and by the reader

# Source: the comment on the frame notation in can-utils `lib.h` (examples and their meaning,
# from memory).
NOTATION = [
    ("123#", (0x123, 0, 0, "")),
    ("12345678#", (0x12345678, EXTENDED, 0, "")),
    ("123#R", (0x123, REMOTE, 0, "")),
    ("123#R0", (0x123, REMOTE, 0, "")),
    ("123#R7", (0x123, REMOTE, 7, "")),
    ("123#R8_9", (0x123, REMOTE, 8, "")),
    ("7A1#r", (0x7A1, REMOTE, 0, "")),
    ("123#00", (0x123, 0, 1, "00")),
    ("123#1122334455667788", (0x123, 0, 8, "1122334455667788")),
    ("123#1122334455667788_E", (0x123, 0, 8, "1122334455667788")),
    ("123#11.22.33.44", (0x123, 0, 4, "11223344")),
    ("32345678#112233.44556677.88", (0x12345678, ERROR, 8, "1122334455667788")),
    ("123##0112233", (0x123, FD, 3, "112233")),
    ("123##1112233", (0x123, FD | SWITCHED, 3, "112233")),
    ("123##2112233", (0x123, FD | PASSIVE, 3, "112233")),
    ("123##3", (0x123, FD | SWITCHED | PASSIVE, 0, "")),
]
OTHER_FORMS = [
    ("7ff#deADbeef", (0x7FF, 0, 4, "deadbeef")),
    ("1FFFFFFF#01 R", (0x1FFFFFFF, EXTENDED, 1, "01")),
    ("123#01 T", (0x123, SENT, 1, "01")),
    ("123# T", (0x123, SENT, 0, "")),
    ("123#R4 T", (0x123, REMOTE | SENT, 4, "")),
    ("123##1" + "A5" * 64 + " T", (0x123, FD | SWITCHED | SENT, 64, "A5" * 64)),
    ("00000123##0" + "5A" * 12, (0x123, FD | EXTENDED, 12, "5A" * 12)),
    ("20000088#0000000000000000", (0x88, ERROR, 8, "00" * 8)),
    (" 123   [4]  DE AD BE EF", (0x123, 0, 4, "DEADBEEF")),
    (" 12345678   [0] ", (0x12345678, EXTENDED, 0, "")),
    (" 123  [08]  01 02 03 04 05 06 07 08", (0x123, FD, 8, "0102030405060708")),
    (" 12345678  [12]  " + "A1 " * 12, (0x12345678, EXTENDED | FD, 12, "A1" * 12)),
    (" 123   [3]  remote request", (0x123, REMOTE, 3, "")),
    (" 20000080   [8]  00 00 00 00 00 00 00 00   ERRORFRAME", (0x80, ERROR, 8, "00" * 8)),
    (" 123   [2]  41 42   'AB'", (0x123, 0, 2, "4142")),
]


@pytest.mark.parametrize(("text", "meaning"), NOTATION + OTHER_FORMS, ids=[f[0][:30] for f in NOTATION + OTHER_FORMS])
def test_forms_of_a_frame(text, meaning, tmp_path):
    identifier, flags, length, data = meaning
    expected = Row(T_NS, "can0", identifier, flags, length, bytes.fromhex(data))
    line = f"{T}can0 {text}"
    assert parse_line(line.encode()) == expected
    assert read(tmp_path / "a.log", line + "\n")[0] == [as_frame(expected)]


@pytest.mark.parametrize(
    ("stamp", "t_ns"),
    [
        ("0", 0),
        ("0.0", 0),
        ("0.000001", 1_000),
        ("9.999999", 9_999_999_000),
        ("1436509052.249713", T_NS),
        ("1436509052.249713001", T_NS + 1),
        ("1436509052.2497", 1_436_509_052_249_700_000),
        ("1436509052.24971300", T_NS),
        ("2305843008.999999", 2_305_843_008_999_999_000),
    ],
)
def test_time_stamps_are_exact(stamp, t_ns, tmp_path):
    found, problems = read(tmp_path / "a.log", f"({stamp}) can0 123#11\n" * 2)
    assert [frame[0] for frame in found] == [t_ns, t_ns]
    assert problems.count == 0


def test_times_equal_the_written_decimals(tmp_path):
    """Correctly rounded, they are the very floats that python-can reads."""
    path = contract.write(contract.SAMPLES[FORMAT.name], tmp_path / "a.log", contract.drive(200))
    batch = contract.read_all(FORMAT, path)
    times = [message.timestamp for message in can.CanutilsLogReader(path)]
    assert [float(Fraction(int(t), 10**9)) for t in batch.t_ns] == times


LAYOUTS = [
    ("carriage returns", f"{T}can0 123#11\r\n{T}can0 123#22 T\r\n"),
    ("blank lines", f"\n\n{T}can0 123#11\n \t\n{T}can0 123#22 T\n\r\n"),
    ("wide gaps", f"{T}   can0\t123#11\n  {T}can0 123#22   T\n"),
    ("blanks at the end", f"{T}can0 123#11  \n{T}can0 123#22 T \n"),
    ("lower-case mark", f"{T}can0 123#11 r\n{T}can0 123#22 t\n"),
]


@pytest.mark.parametrize(("name", "content"), LAYOUTS, ids=[layout[0] for layout in LAYOUTS])
def test_layouts_of_a_line(name, content, tmp_path):
    found, problems = read(tmp_path / "a.log", content)
    assert [(f[3], f[5][:1].hex()) for f in found] == [(0, "11"), (SENT, "22")]
    assert problems.count == 0


def test_channels_in_order_of_first_frame(tmp_path):
    names = ["vcan1", "can0", "b", "a_name_of_16_chr", "a_name_of_17_char", "can0", "vcan1", "vcan2", "büs"]
    forms = ["123#11", "123#R", "123#11", "123##122", "123#11", "123#22", "123#R", "12345678#11", "123#"]
    content = "".join(f"{T}{name} {form}\n" for name, form in zip(names, forms, strict=True))
    for rows in (1, 4, 100):
        assert [frame[1] for frame in read(tmp_path / "a.log", content, rows)[0]] == names
    batch = contract.read_all(FORMAT, tmp_path / "a.log")
    assert batch.channels == tuple(dict.fromkeys(names))


def test_stamps_that_step_back_are_kept(tmp_path):
    """Each batch is complete to the newest time of the file so far."""
    path = tmp_path / "a.log"
    path.write_text("".join(f"({second}.000000) can0 123#11\n" for second in (5, 9, 3, 4)))
    batches = list(FORMAT.read(path, Problems(strict=True), 2))
    assert [batch.t_ns.tolist() for batch in batches] == [[5 * 10**9, 9 * 10**9], [3 * 10**9, 4 * 10**9], []]
    assert [batch.complete_to for batch in batches] == [9 * 10**9] * 3


def test_damaged_line_names_no_channel(tmp_path):
    content = f"{T}can0 123#1\n{T}can1 123#11\n"
    read(tmp_path / "a.log", content)
    assert contract.read_all(FORMAT, tmp_path / "a.log", Problems()).channels == ("can1",)


def test_more_channels_than_a_batch_can_number(tmp_path):
    path = tmp_path / "a.log"
    with pytest.raises(FormatError) as caught:
        read(path, "".join(f"{T}n{k} 123#11\n" for k in range(300)))
    assert str(caught.value) == f'{path}: more than 256 channels; the last one is "n256".'


# Damage

FD_HAS = "CAN FD has 0 to 8, 12, 16, 20, 24, 32, 48 or 64."
NEEDS = "a time stamp, an interface and a frame are needed."
NINE = " ".join(["11"] * 9)
DAMAGED = [
    ("garbage", f'line "garbage" has too few fields: {NEEDS}'),
    (T + "can0", f'line "(1436509052.249713) can0" has too few fields: {NEEDS}'),
    ("(14x6.0) can0 123#11", 'time stamp "(14x6.0)" is not readable.'),
    ("1436509052.249713 can0 123#11", 'time stamp "1436509052.249713" is not readable.'),
    ("(1.) can0 123#11", 'time stamp "(1.)" is not readable.'),
    ("(1.1234567890) can0 123#11", 'time stamp "(1.1234567890)" is not readable.'),
    ("(9999999999.000000) can0 123#11", 'time stamp "(9999999999.000000)" is later than a recording can hold.'),
    (T + "c\x01 123#11", 'interface name "c\\x01" is not readable.'),
    (T + "can0 123DEADBEEF", 'frame "123DEADBEEF" has no "#".'),
    (T + "can0 12#11", 'identifier "12" has 2 hex digits, not 3 or 8.'),
    (T + "can0 #11", 'identifier "" has 0 hex digits, not 3 or 8.'),
    (T + "can0 1G3#11", 'identifier "1G3" is not a hex number.'),
    (T + "can0 800#11", 'identifier "800" is above 7FF, the highest of 11 bits.'),
    (T + "can0 40000000#11", 'identifier "40000000" is above 1FFFFFFF, the highest of 29 bits.'),
    (T + "can0 E0000123#11", 'identifier "E0000123" is above 1FFFFFFF, the highest of 29 bits.'),
    (T + "can0 123#A44", 'payload "A44" has an odd number of hex digits.'),
    (T + "can0 123#11.2", 'payload "11.2" has an odd number of hex digits.'),
    (T + "can0 123#11.", 'payload "11." has a dot that no byte follows.'),
    (T + "can0 123#A4G4", 'payload "A4G4" has "G", which is not a hex digit.'),
    (T + "can0 123#11\x00\x00", 'payload "11\\x00\\x00" has "\\x00", which is not a hex digit.'),
    (T + "can0 123#112233445566778899", 'payload "112233445566778899" has 9 bytes; a classic frame has 8 at most.'),
    (T + "can0 123#1122_9", 'payload "1122_9" has a DLC above 8 but 2 bytes.'),
    (T + "can0 123#R9", 'remote frame "R9" has no length from 0 to 8 after the "R".'),
    (T + "can0 123##", 'CAN FD frame "##" has no hex digit of flags after "##".'),
    (T + "can0 123##X11", 'CAN FD frame "##X11" has no hex digit of flags after "##".'),
    (T + "can0 123##1" + "1" * 18, f'payload "{"1" * 18}" has 9 bytes; {FD_HAS}'),
    (T + "can0 123##1" + "0" * 136, f'payload "{"0" * 59}…" has 68 bytes; {FD_HAS}'),
    (T + "can0 123#11 X", 'direction mark "X" is neither R nor T.'),
    (T + "can0 123#11 R 5", 'line "(1436509052.249713) can0 123#11 R 5" has more fields than a frame has.'),
    (T + "can0 123 [4] 11 22 33", 'payload "11 22 33" has 3 bytes, not the 4 announced.'),
    (T + "can0 123 [2] 11 2", 'payload "11 2" is not written as bytes of two hex digits.'),
    (T + "can0 123 [9] " + NINE, f'payload "{NINE}" has 9 bytes; a classic frame has 8 at most.'),
    (T + "can0 123 [10] " + NINE + " 22", f'payload "{NINE} 22" has 10 bytes; {FD_HAS}'),
    (T + "can0 123 [1] 11 22", 'payload is followed by "22", which is no part of a frame.'),
]


@pytest.mark.parametrize(("line", "message"), DAMAGED, ids=[message[:40] for _, message in DAMAGED])
def test_damaged_line(line, message, tmp_path):
    path = tmp_path / "cold_start.log"
    found, problems = read(path, f"{T}can0 123#11\n{line}\n{T}can0 123#22\n")
    assert [frame[5][0] for frame in found] == [0x11, 0x22]
    assert [str(problem) for problem in problems.items] == [f"{path}, line 2: {message}"]


def test_strict_stops_at_the_damaged_line(tmp_path):
    path = tmp_path / "a.log"
    path.write_text(f"{T}can0 123#11\n{T}can0 123#1\n{T}can0 123#X\n")
    with pytest.raises(FormatError) as caught:
        contract.read_all(FORMAT, path, Problems(strict=True))
    assert str(caught.value) == (
        f'{path}, line 2: payload "1" has an odd number of hex digits.\nStopped here because of --strict.'
    )


@pytest.mark.parametrize("chunk", [1, 40, 41, 100, 1000])
@pytest.mark.parametrize("rows", [1, 3, 1000])
def test_line_numbers_do_not_depend_on_chunks(chunk, rows, tmp_path, monkeypatch):
    monkeypatch.setattr(candump, "CHUNK_BYTES", chunk)
    lines = [f"{T}can0 123#{row:04X}" for row in range(40)]
    lines[3] = lines[17] = lines[39] = "broken"
    lines[20] = ""
    found, problems = read(tmp_path / "a.log", "\n".join([*lines, ""]), rows)
    assert [problem.line for problem in problems.items] == [4, 18, 40]
    assert [int(frame[5][:2].hex(), 16) for frame in found] == [row for row in range(40) if row not in (3, 17, 20, 39)]


def test_line_longer_than_a_chunk(tmp_path, monkeypatch):
    monkeypatch.setattr(candump, "CHUNK_BYTES", 64)
    found, problems = read(tmp_path / "a.log", f"{T}can0 123#11\n" + "x" * 1000 + f"\n{T}can0 123#22\n")
    assert len(found) == 2
    assert problems.items[0].line == 2


# A last line without a line end


def cut_message(text: str) -> str:
    text = text if len(text) <= 60 else text[:59] + "…"
    return f'The file ends inside its last line ("{text}"); that frame is lost.'


def test_cut_line_is_lost_and_said(tmp_path):
    path = tmp_path / "a.log"
    found, problems = read(path, f"{T}can0 123#11223344\n{T}can0 123#DEA")
    assert len(found) == 1
    assert [str(p) for p in problems.items] == [f"{path}, line 2: {cut_message('(1436509052.249713) can0 123#DEA')}"]


LAST_LINES = [
    ("as long as the others", ["123#1122", "123#3344", "123#5566"], True),
    ("shorter than the others", ["123#1122", "123#3344", "123#55"], False),
    ("lengths vary", ["123#11", "123#1122", "123#55"], False),
    ("first of its identifier", ["123#1122", "124#5566"], False),
    ("same number, other kind of identifier", ["00000123#1122", "123#1122"], False),
    ("a remote frame may ask for more", ["123#R8", "123#R"], False),
    ("a remote frame is no empty frame", ["123#", "123#R"], False),
    ("FD cut to a classic frame", ["123##1", "123#"], False),
    ("FD cut to another length", ["123##1" + "AA" * 64, "123##1" + "AA" * 48], False),
    ("mark is there", ["123#11 R", "124#22 T"], True),
    ("mark is missing", ["123#11 R", "123#22"], False),
    ("mark is half there", ["123#11 R", "123#22 "], False),
    ("carriage return is there", ["123#11", "124#22\r"], True),
    ("only frame", ["123#11"], False),
    ("only frame, with mark", ["123#11 T"], True),
    ("DLC is cut off", ["123#1122334455667788_B", "123#1122334455667788"], True),
]


@pytest.mark.parametrize(("name", "forms", "kept"), LAST_LINES, ids=[case[0] for case in LAST_LINES])
def test_last_line_without_line_end(name, forms, kept, tmp_path):
    found, problems = read(tmp_path / "a.log", "\n".join(f"{T}can0 {form}" for form in forms), 2)
    assert len(found) == len(forms) - (not kept)
    assert [p.message for p in problems.items] == ([] if kept else [cut_message(f"{T}can0 {forms[-1]}")])


CUT_RECORDS = ["123#1122334455667788", "12345678#0102", "123#R8", "123##1" + "5A" * 12, "123#11223344 T", "123#R4 R"]


@pytest.mark.parametrize("form", CUT_RECORDS)
@pytest.mark.parametrize("line_end", ["\n", "\r\n"], ids=["LF", "CRLF"])
def test_cut_at_every_byte_gives_no_wrong_frame(form, line_end, tmp_path):
    before = f"{T}can0 {form}{line_end}" * 3
    last = f"(1436509053.000001) can0 {form}{line_end}"
    whole, _ = read(tmp_path / "a.log", before + last)
    for length in range(1, len(last)):
        found, problems = read(tmp_path / "a.log", before + last[:length], 2)
        assert found == whole[: len(found)]
        assert (len(found), problems.count) in ((4, 0), (3, 1)), last[:length]


def test_zeros_after_a_power_loss(tmp_path):
    found, problems = read(tmp_path / "a.log", f"{T}can0 123#11\n{T}can0 123#2".encode() + bytes(5000))
    assert len(found) == 1
    assert [p.message for p in problems.items] == [cut_message(f"{T}can0 123#2" + "\\x00" * 5000)]


# The screen form without times


def test_screen_form_without_times_is_refused(tmp_path):
    path = tmp_path / "shown.log"
    path.write_text("  can0  123   [4]  DE AD BE EF\n  can0  124   [0] \n")
    assert candump.looks_like(path.read_bytes())
    with pytest.raises(OpenError) as caught:
        contract.read_all(FORMAT, path)
    assert str(caught.value) == (
        f"{path}: the frames have no time stamps, so nothing can be timed.\n"
        "Record again with time stamps; the log form always has them."
    )


@pytest.mark.parametrize(
    ("head", "claimed"),
    [
        (f"{T}can0 123#DEADBEEF\n", True),
        (f"# a note\n\n{T}can0 123#R\n", True),
        (f"{T}can0 12345678##1", True),
        (f" {T} can0  123   [2]  11 22\n", True),
        ("  can0  123   [2]  11 22\n", True),
        ("(note) see page 123#4\n", False),
        ("Nov 25 07:25:01 host cron[123]: done\n", False),
        ("\x00\x01\x02", False),
        ("", False),
    ],
)
def test_looks_like(head, claimed):
    assert candump.looks_like(head.encode()) is claimed


# Fast against slow

STAMPS = st.sampled_from(
    [
        "1436509052.249713",
        "1436509052.249714",
        "0.000000",
        "12.5",
        "9.123456789",
        "2305843009.0",
        "7",
        "1234567.123456789",
    ]
)
NAMES = st.sampled_from(["can0", "vcan1", "b", "a_name_of_16_chr", "a_name_of_17_char", "büs"])
IDENTIFIERS = st.one_of(
    st.integers(0, 0x8FF).map("{:03X}".format),
    st.integers(0, 0x1FFFFFFF).map("{:08x}".format),
    st.integers(0x20000000, 0x4FFFFFFF).map("{:08X}".format),
)
PAYLOADS = st.one_of(
    st.binary(max_size=9).map(lambda data: "#" + data.hex()),
    st.tuples(st.sampled_from("0123f"), st.sampled_from(contract.FD_LENGTHS)).map(lambda t: f"##{t[0]}{'A5' * t[1]}"),
    st.sampled_from(["#R", "#R8", "#1122334455667788_B", "#11.22", " [2] 11 22"]),
)
LINES = st.builds(
    "({}) {} {}{}{}".format, STAMPS, NAMES, IDENTIFIERS, PAYLOADS, st.sampled_from(["", "", " R", " T", "\r", " T\r"])
).map(str.encode)
CHARACTERS = b"0aAgGRT#().[] _\t\r\x00\xff"


@st.composite
def spoilt(draw: st.DrawFn) -> bytes:
    """A line, sometimes with characters changed, put in or taken out."""
    line = bytearray(draw(LINES))
    for _ in range(draw(st.integers(0, 2))):
        place = draw(st.integers(0, len(line)))
        line[place : place + draw(st.integers(0, 1))] = draw(st.sampled_from([bytes((c,)) for c in CHARACTERS] + [b""]))
    return bytes(line)


@settings(max_examples=250, deadline=None, derandomize=True)
@given(lines=st.lists(spoilt(), min_size=1, max_size=40), rows=st.sampled_from([1, 7, 1000]))
def test_fast_and_slow_agree(lines, rows):
    expected, damaged = [], []
    for number, line in enumerate(lines, 1):
        try:
            row = parse_line(line)
        except DamagedError as damage:
            damaged.append((number, str(damage)))
        else:
            expected += [] if row is None else [as_frame(row)]
    with tempfile.TemporaryDirectory() as folder:
        found, problems = read(Path(folder) / "a.log", b"".join(line + b"\n" for line in lines), rows)
    assert found == expected
    assert [(p.line, p.message) for p in problems.items] == damaged


def test_most_lines_are_taken_at_once(tmp_path, monkeypatch):
    """Mixed names, lengths, kinds and directions do not fall back to the line parser."""
    slow: list[bytes] = []
    monkeypatch.setattr(candump, "parse_line", lambda line: slow.append(line) or parse_line(line))
    forms = [
        "123#11",
        "12345678#1122334455667788 T",
        "123#",
        "123##1" + "AA" * 12,
        "20000080#0011223344556677",
        "7FF#R",
    ]
    lines = [f"({5 + row * 0.9:.6f}) {('can0', 'vcan10')[row % 2]} {forms[row % 6]}\n" for row in range(600)]
    found, _ = read(tmp_path / "a.log", "".join(lines))
    assert len(found) == 600
    assert {re.search(rb"#(.)", line)[1] for line in slow} == {b"R"}
