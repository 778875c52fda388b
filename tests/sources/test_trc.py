"""TRC: literal lines of every version, start times, damage with its exact messages."""

import pytest

from busprobe.errors import FormatError, Problems
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SENT, SWITCHED, join_frames
from busprobe.sources.trc import FORMAT, looks_like

V1_0 = ";##########\n;   drive.trc\n;\n"
V1_1 = ";$FILEVERSION=1.1\n;$STARTTIME=25569\n;\n;---+--   ----+----  --+--  ----+---  +  -+ -- --\n"
V1_2 = V1_1.replace("1.1", "1.2")
V1_3 = V1_1.replace("1.1", "1.3")
V2_0 = ";$FILEVERSION=2.0\n;$STARTTIME=25569\n;$COLUMNS=N,O,T,I,d,l,D\n;\n"
V2_1 = ";$FILEVERSION=2.1\n;$STARTTIME=25569\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n;\n"
EIGHT = bytes(range(1, 9))
MS = 1_000_000


def read(tmp_path, content, rows=100_000):
    path = tmp_path / "drive.trc"
    path.write_bytes(content.encode())
    problems = Problems()
    batch = join_frames(list(FORMAT.read(path, problems, rows)))
    return batch, [str(problem).removeprefix(f"{path}, ") for problem in problems.items]


def frames(batch):
    words = batch.words()
    return [
        (
            int(batch.t_ns[row]),
            batch.channels[batch.channel[row]],
            int(batch.identifier[row]),
            int(batch.flags[row]),
            int(batch.length[row]),
            words[row].tobytes().rstrip(b"\0"),
        )
        for row in range(len(batch))
    ]


LINES = {
    "1.0": (V1_0, "     1)      1841 0001 8 01 02 03 04 05 06 07 08 ", (1841 * MS, "1", 1, 0, 8, EIGHT)),
    "1.0 extended": (V1_0, "     1)      1841 00000123 0", (1841 * MS, "1", 0x123, EXTENDED, 0, b"")),
    "1.0 remote": (V1_0, "     1)      1841 0100 3 RTR", (1841 * MS, "1", 0x100, REMOTE, 3, b"")),
    "1.1": (V1_1, "     1)         0.1  Rx         0593  2  0A FF ", (100_000, "1", 0x593, 0, 2, b"\x0a\xff")),
    "1.1 sent, extended": (
        V1_1,
        "     1)      1059.9  Tx     18FEF100  8  01 02 03 04 05 06 07 08 ",
        (1_059_900_000, "1", 0x18FEF100, EXTENDED | SENT, 8, EIGHT),
    ),
    "1.1 remote": (V1_1, "     1)      1.0  Rx         0300  4  RTR", (MS, "1", 0x300, REMOTE, 4, b"")),
    "1.1 error": (V1_1, "    13)      1.0  Error      0008  4  00 00 00 00", (MS, "1", 0, ERROR, 0, b"")),
    "1.2": (V1_2, "     1)      1059.900 2  Rx  0300  1  7F ", (1_059_900_000, "2", 0x300, 0, 1, b"\x7f")),
    "1.3": (V1_3, "     1)      1059.900 2  Rx  0300 -  1    7F ", (1_059_900_000, "2", 0x300, 0, 1, b"\x7f")),
    "1.3 remote": (V1_3, "     1)      1.000 1  Tx  0300 -  5    RTR", (MS, "1", 0x300, REMOTE | SENT, 5, b"")),
    "2.0": (V2_0, "      1      1059.900 DT     0300 Rx 1  7F ", (1_059_900_000, "1", 0x300, 0, 1, b"\x7f")),
    "2.0 FD counts bytes": (
        V2_0,
        "      1      1.000 FD     0300 Rx 12  01 02 03 04 05 06 07 08 00 00 00 AB ",
        (MS, "1", 0x300, FD, 12, EIGHT + b"\0\0\0\xab"),
    ),
    "2.1": (V2_1, "      1      1.000 DT 3      0300 Rx -  1    7F ", (MS, "3", 0x300, 0, 1, b"\x7f")),
    "2.1 no payload": (V2_1, "      1      1.000 DT 1      0300 Rx -  0 ", (MS, "1", 0x300, 0, 0, b"")),
    "2.1 DLC 15 of a classic frame": (
        V2_1,
        "1 1.000 DT 1 0300 Rx - 15 01 02 03 04 05 06 07 08",
        (MS, "1", 0x300, 0, 8, EIGHT),
    ),
    "2.1 FD has a DLC": (
        V2_1,
        "1 1.000 FD 1 0300 Rx - 9 01 02 03 04 05 06 07 08 00 00 00 AB",
        (MS, "1", 0x300, FD, 12, EIGHT + b"\0\0\0\xab"),
    ),
    "2.1 FB": (V2_1, "1 1.000 FB 1 0300 Rx - 1 7F", (MS, "1", 0x300, FD | SWITCHED, 1, b"\x7f")),
    "2.1 FE": (V2_1, "1 1.000 FE 1 0300 Rx - 1 7F", (MS, "1", 0x300, FD | PASSIVE, 1, b"\x7f")),
    "2.1 BI": (V2_1, "1 1.000 BI 1 0300 Tx - 1 7F", (MS, "1", 0x300, FD | SWITCHED | PASSIVE | SENT, 1, b"\x7f")),
    "2.1 remote": (V2_1, "1 1.000 RR 1 00000300 Rx - 8", (MS, "1", 0x300, EXTENDED | REMOTE, 8, b"")),
    "2.1 error": (V2_1, "1 1.000 ER 2 - Rx - 5 04 00 02 00 00", (MS, "2", 0, ERROR, 0, b"")),
    "one decimal": (V1_1, "1) 0.1 Rx 0593 0", (100_000, "1", 0x593, 0, 0, b"")),
    "four decimals": (V1_1, "1) 0.1234 Rx 0593 0", (123_400, "1", 0x593, 0, 0, b"")),
    "no decimals": (V1_1, "1) 7 Rx 0593 0", (7 * MS, "1", 0x593, 0, 0, b"")),
    "no start time": (";$FILEVERSION=1.1\n", "1) 7 Rx 0593 0", (7 * MS, "1", 0x593, 0, 0, b"")),
    "other columns": (
        ";$FILEVERSION=2.1\n;$COLUMNS=N,O,B,T,I,d,L,D\n",
        "1 1.000 2 DT 0300 Rx 1 7F",
        (MS, "2", 0x300, 0, 1, b"\x7f"),
    ),
    "later version with columns": (
        ";$FILEVERSION=3.0\n;$COLUMNS=N,O,I,L,D\n",
        "1 1.000 0300 1 7F",
        (MS, "1", 0x300, 0, 1, b"\x7f"),
    ),
}


@pytest.mark.parametrize(("header", "line", "expected"), LINES.values(), ids=LINES)
def test_line(header, line, expected, tmp_path):
    batch, messages = read(tmp_path, f"{header}{line}\n")
    assert messages == []
    assert frames(batch) == [expected]


IGNORED = {
    "comment": (V1_1, "; a note"),
    "blank": (V1_1, " "),
    "1.0 status of the bus": (V1_0, "     2)      1842 FFFFFFFF 4 00 00 00 08"),
    "1.1 warning": (V1_1, "     2)      1.0  Warng  FFFFFFFF  4  00 00 00 08  BUSHEAVY"),
    "2.0 status": (V2_0, "      2      1.000 ST          Rx    00 00 00 08"),
    "2.1 status": (V2_1, "      2      1.000 ST 1       -  Rx -  4    00 00 00 08"),
    "2.1 error counters": (V2_1, "      2      1.000 EC 1       -  Rx -  2    02 02"),
    "2.1 event": (V2_1, "      2      1.000 EV 1  reverse light did not come on"),
}


@pytest.mark.parametrize(("header", "line"), IGNORED.values(), ids=IGNORED)
def test_other_lines_are_passed_over(header, line, tmp_path):
    batch, messages = read(tmp_path, f"{header}{line}\n")
    assert messages == []
    assert len(batch) == 0


DAMAGED = {
    "words": (V1_1, "garbage line", 'line "garbage line" is not of the TRC format.'),
    "too few fields": (V1_1, "2) 0.1 Rx 0593", 'line "2) 0.1 Rx 0593" has too few fields.'),
    "number only": (V2_1, "2", 'type "" is not known.'),
    "type": (V2_1, "2 1.000 DX 1 0300 Rx - 0", 'type "DX" is not known.'),
    "time": (V1_1, "2) 0,1 Rx 0593 0", 'time "0,1" is not a number of milliseconds.'),
    "time of centuries": (
        V1_1,
        "2) 9999999999999.9 Rx 0593 0",
        'time "9999999999999.9" is later than a recording can hold.',
    ),
    "identifier": (V1_1, "2) 0.1 Rx 05G3 0", 'identifier "05G3" is not a hex number.'),
    "identifier of 12 bits": (V1_1, "2) 0.1 Rx 0800 0", 'identifier "0800" is above 7FF, the highest of 11 bits.'),
    "identifier of 30 bits": (
        V1_1,
        "2) 0.1 Rx 20000000 0",
        'identifier "20000000" is above 1FFFFFFF, the highest of 29 bits.',
    ),
    "bus": (V2_1, "2 1.000 DT x 0300 Rx - 0", 'bus "x" is not a number from 0 to 999.'),
    "direction": (V2_1, "2 1.000 DT 1 0300 Rz - 0", 'direction "Rz" is neither Rx nor Tx.'),
    "DLC": (V1_1, "2) 0.1 Rx 0593 16 00", 'DLC "16" is not a number from 0 to 15.'),
    "length": (V2_0, "2 1.000 DT 0300 Rx 9 00", 'length "9" is not one that such a frame can have.'),
    "length of FD": (V2_0, "2 1.000 FD 0300 Rx 9 00", 'length "9" is not one that such a frame can have.'),
    "payload too short": (V1_1, "2) 0.1 Rx 0593 3 00 01", "the line says 3 payload bytes and has 2."),
    "payload too long": (V1_1, "2) 0.1 Rx 0593 1 00 01", "the line says 1 payload byte and has 2."),
    "payload": (V1_1, "2) 0.1 Rx 0593 2 00 0G", 'payload "00 0G" is not made of hex bytes of two digits.'),
}


@pytest.mark.parametrize(("header", "line", "message"), DAMAGED.values(), ids=DAMAGED)
def test_damaged_line(header, line, message, tmp_path):
    good = {V1_1: "1) 1.0 Rx 0100 0", V2_0: "1 1.0 DT 0100 Rx 0", V2_1: "1 1.0 DT 1 0100 Rx - 0"}[header]
    batch, messages = read(tmp_path, f"{header}{good}\n{line}\n{good}\n")
    number = header.count("\n") + 2
    assert messages == [f"line {number}: {message}"]
    assert len(batch) == 2
    with pytest.raises(FormatError):
        list(FORMAT.read(tmp_path / "drive.trc", Problems(strict=True), 10))


LAST_LINES = {
    "whole by its length": (V1_1, "2) 0.2 Rx 0593 2 00 01", 1),
    "no payload": (V1_1, "2) 0.2 Rx 0593 0", 1),
    "remote": (V1_1, "2) 0.2 Rx 0593 2 RTR", 1),
    "a byte short": (V1_1, "2) 0.2 Rx 0593 2 00", 0),
    "half a byte": (V1_1, "2) 0.2 Rx 0593 2 00 0", 0),
    "no length": (V1_1, "2) 0.2 Rx 0593", 0),
    "half a type": (V1_1, "2) 0.2 R", 0),
    "error frame": (V2_1, "2 0.2 ER 1", 0),
    "warning": (V1_1, "2) 0.2 Warng", 0),
}


@pytest.mark.parametrize(("header", "line", "kept"), LAST_LINES.values(), ids=LAST_LINES)
def test_last_line_without_its_end(header, line, kept, tmp_path):
    batch, messages = read(tmp_path, f"{header}{line}")
    assert len(batch) == kept
    number = header.count("\n") + 1
    expected = f'line {number}: the file ends inside line "{line}"; it is lost.'
    assert messages == ([] if kept else [expected])


STARTS = {
    "epoch": ("25569", 0),
    "a day later": ("25570", 86_400_000_000_000),
    # 21 March 2009, 14:28:49.9 by hand: day 39893, and 52129.9 s of 86400 to ten decimals
    "ten decimals": ("39893.6033553241", (39893 - 25569) * 86_400_000_000_000 + 52_129_900_002_240),
    "sixteen decimals": ("39893.6033564814814815", (39893 - 25569) * 86_400_000_000_000 + 52_130_000_000_000),
    "half a day": ("25569.5", 43_200_000_000_000),
}


@pytest.mark.parametrize(("days", "expected"), STARTS.values(), ids=STARTS)
def test_start_time(days, expected, tmp_path):
    batch, messages = read(tmp_path, f";$FILEVERSION=1.1\n;$STARTTIME={days}\n1) 0.0 Rx 0100 0\n")
    assert messages == []
    assert list(batch.t_ns) == [expected]


@pytest.mark.parametrize(
    ("days", "message"),
    [
        ("soon", 'start time "soon" is not a number of days; times count from 0.'),
        ("99999", 'start time "99999" is later than a recording can hold; times count from 0.'),
    ],
    ids=["word", "too late"],
)
def test_unreadable_start_time(days, message, tmp_path):
    batch, messages = read(tmp_path, f";$FILEVERSION=1.1\n;$STARTTIME={days}\n1) 0.5 Rx 0100 0\n")
    assert messages == [f"line 2: {message}"]
    assert list(batch.t_ns) == [500_000]


NO_COLUMNS = {
    "unknown version": (
        ";$FILEVERSION=3.0\n",
        'TRC version "3.0" has no line ";$COLUMNS=" in its header.\nSave the recording again as version 1.1 or 2.1.',
    ),
    "2.1 without columns": (
        ";$FILEVERSION=2.1\n",
        'TRC version "2.1" has no line ";$COLUMNS=" in its header.\nSave the recording again as version 1.1 or 2.1.',
    ),
    "no identifier": (
        ";$FILEVERSION=2.1\n;$COLUMNS=N,O,T,L,D\n",
        'The columns "N,O,T,L,D" lack one of O, I, L or l, and D.\nSave the recording again with its usual columns.',
    ),
}


@pytest.mark.parametrize(("header", "message"), NO_COLUMNS.values(), ids=NO_COLUMNS)
def test_file_whose_columns_are_not_known(header, message, tmp_path):
    path = tmp_path / "drive.trc"
    path.write_text(f"{header}1 1.000 DT 1 0300 Rx - 0\n")
    with pytest.raises(FormatError) as caught:
        list(FORMAT.read(path, Problems(), 100))
    assert str(caught.value) == f"{path}: {message}"


HEADS = {
    "1.1": (V1_1.encode(), True),
    "2.1": (V2_1.encode(), True),
    "comments first": (b"; a drive\n;$FILEVERSION=1.3\n", True),
    "byte order mark": (b"\xef\xbb\xbf;$FILEVERSION=1.3\n", True),
    "1.0": (b";####\n;  drive\n     1)      1841 0001 8 00 00 00 00 00 00 00 00\n", True),
    "empty": (b"", False),
    "other comments": (b"; an INI file\n[section]\n", False),
    "candump text": (b"(0.1) can0 123#00\n", False),
    "ASC": (b"date Sat Sep 30 15:06:13.191 2017\n", False),
    "BLF": (b"LOGG\x90\0\0\0", False),
    "version that is not first": (b"text\n;$FILEVERSION=1.1\n", False),
}


@pytest.mark.parametrize(("head", "expected"), HEADS.values(), ids=HEADS)
def test_looks_like(head, expected):
    assert looks_like(head) is expected
