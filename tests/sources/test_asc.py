"""ASC: literal lines and what they say, dates, bases, blocks, damage with its exact messages.

Expected values are what the format says, by hand; python-can's own reader is asked by the
contract. Absolute times are compared with the same date in local time, so no test depends on
the zone of the machine.
"""

from datetime import datetime

import pytest

from busprobe.errors import FormatError, Problems
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SENT, SWITCHED, join_frames
from busprobe.sources.asc import FORMAT, looks_like

HEADER = "base hex  timestamps absolute\nno internal events logged\n"
EIGHT = bytes(range(1, 9))


def read(tmp_path, content, rows=100_000):
    path = tmp_path / "drive.asc"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
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
    "usual": (
        "   0.015991 1  123             Rx   d 8 01 02 03 04 05 06 07 08  Length = 240000 BitCount = 124 ID = 291",
        (15_991_000, "0", 0x123, 0, 8, EIGHT),
    ),
    "nothing behind": ("0.015991 1 123 Rx d 2 01 02", (15_991_000, "0", 0x123, 0, 2, b"\x01\x02")),
    "extended, sent": (
        "   0.1 3  18FEF100x       Tx   d 1 FF",
        (100_000_000, "2", 0x18FEF100, EXTENDED | SENT, 1, b"\xff"),
    ),
    "no payload": ("   0.1 1  7FF  Rx   d 0 ", (100_000_000, "0", 0x7FF, 0, 0, b"")),
    "small letters": ("0.1 1 7ab Rx d 2 aB cd", (100_000_000, "0", 0x7AB, 0, 2, b"\xab\xcd")),
    "DLC f of a classic frame is 8 bytes": (
        "0.1 1 7AB Rx d f 01 02 03 04 05 06 07 08",
        (100_000_000, "0", 0x7AB, 0, 8, EIGHT),
    ),
    "nanoseconds": ("12.000000001 1 1 Rx d 0", (12_000_000_001, "0", 1, 0, 0, b"")),
    "more decimals": ("12.0000000019 1 1 Rx d 0", (12_000_000_001, "0", 1, 0, 0, b"")),
    "days": ("864000.123456 1 1 Rx d 0", (864_000_123_456_000, "0", 1, 0, 0, b"")),
    "whole seconds": ("7 1 1 Rx d 0", (7_000_000_000, "0", 1, 0, 0, b"")),
    "remote": ("0.1 1 123 Rx r", (100_000_000, "0", 0x123, REMOTE, 0, b"")),
    "remote with length": ("0.1 1 123x Tx r 8", (100_000_000, "0", 0x123, EXTENDED | REMOTE | SENT, 8, b"")),
    "remote with details": ("0.1 1 123 Rx r Length = 0", (100_000_000, "0", 0x123, REMOTE, 0, b"")),
    "error frame": ("0.1 2  ErrorFrame", (100_000_000, "1", 0, ERROR, 0, b"")),
    "error frame with details": (
        "0.1 1 ErrorFrame\tECC: 10100010 \tFlags = 0xa",
        (100_000_000, "0", 0, ERROR, 0, b""),
    ),
    "FD": (
        "   0.1 CANFD   1 Rx    123   name_of_it   1 0 9 12 01 02 03 04 05 06 07 08 00 00 00 AB  130000 130 303000 0",
        (100_000_000, "0", 0x123, FD | SWITCHED, 12, EIGHT + b"\0\0\0\xab"),
    ),
    "FD without a name": (
        "0.1 CANFD 2 Tx 18FEF100x 0 1 2 2 01 02 130000 130 5000 0",
        (100_000_000, "1", 0x18FEF100, EXTENDED | FD | PASSIVE | SENT, 2, b"\x01\x02"),
    ),
    "FD without flags": ("0.1 CANFD 1 Rx 123 0 0 1 1 FF", (100_000_000, "0", 0x123, FD, 1, b"\xff")),
    "FD without payload is no remote frame": (
        "0.1 CANFD 1 Rx 123 1 0 0 0 130000 130 3000 0",
        (100_000_000, "0", 0x123, FD | SWITCHED, 0, b""),
    ),
    "classic frame among FD": (
        "0.1 CANFD 1 Rx 123 0 0 2 2 01 02 130000 130 200040 0",
        (100_000_000, "0", 0x123, 0, 2, b"\x01\x02"),
    ),
    "remote frame among FD": (
        "0.1 CANFD 3 Rx 50005x 0 0 5 0 140000 73 200050 7a60",
        (100_000_000, "2", 0x50005, EXTENDED | REMOTE, 5, b""),
    ),
    "error frame among FD": (
        "0.1 CANFD   1 Rx ErrorFrame   Not Acknowledge error, dominant error flag",
        (100_000_000, "0", 0, ERROR, 0, b""),
    ),
}


@pytest.mark.parametrize(("line", "expected"), LINES.values(), ids=LINES)
def test_line(line, expected, tmp_path):
    batch, messages = read(tmp_path, f"{HEADER}{line}\n")
    assert messages == []
    assert frames(batch) == [expected]


IGNORED = {
    "comment": "// version 9.0.0",
    "end": "End TriggerBlock",
    "events": "internal events logged",
    "earlier file": "previous log file: drive_1.asc",
    "blank": "   ",
    "start": "   0.000000 Start of measurement",
    "statistic": "   1.000000 1  Statistic: D 1 R 0 XD 0 XR 0 E 0 O 0 B 0.02%",
    "status": "   1.000000 CAN 1 Status:chip status error active",
    "transport protocol": "   1.000000 1  J1939TP FEE3p 6 0 0 - Rx d 20 A0 0F A6",
    "request to send": "   1.000000 1  123  TxRq   d 2 01 02",
    "LIN": "   1.000000 Li 33 Rx 8 1d ec c0 00 00 00 00 00 checksum = e7",
    "system variable": "   1.000000 SV: 2 0 1 ::panel::lamp = 1",
}


@pytest.mark.parametrize("line", IGNORED.values(), ids=IGNORED)
def test_other_lines_are_passed_over(line, tmp_path):
    batch, messages = read(tmp_path, f"{HEADER}{line}\n2.0 1 123 Rx d 0\n")
    assert messages == []
    assert len(batch) == 1


DAMAGED = {
    "words": ("garbage line", 'line "garbage line" is not of the ASC format.'),
    "binary": ("\x01\x02\xff", r'line "\x01\x02ÿ" is not of the ASC format.'),
    "time": ("0.O15991 1 123 Rx d 0", 'time "0.O15991" is not a number of seconds.'),
    "two points": ("0.1.2 1 123 Rx d 0", 'time "0.1.2" is not a number of seconds.'),
    "time of centuries": ("99999999999.0 1 1 Rx d 0", 'time "99999999999.0" is later than a recording can hold.'),
    "time without end": (
        f"{'9' * 5000} 1 1 Rx d 0",
        f'time "{"9" * 59}…" is later than a recording can hold.',
    ),
    "too few fields": ("0.1 1", 'line "0.1 1" has too few fields.'),
    "channel": ("0.1 1111 123 Rx d 0", 'channel "1111" is not a number from 1 to 999.'),
    "identifier": ("0.1 1 1G3 Rx d 0", 'identifier "1G3" is not a hex number.'),
    "identifier of 12 bits": ("0.1 1 800 Rx d 0", 'identifier "800" is above 7FF, the highest of 11 bits.'),
    "identifier of 30 bits": (
        "0.1 1 20000000x Rx d 0",
        'identifier "20000000" is above 1FFFFFFF, the highest of 29 bits.',
    ),
    "direction": ("0.1 1 123 Rz d 0", 'direction "Rz" is neither Rx nor Tx.'),
    "no direction": ("0.1 1 123", 'direction "" is neither Rx nor Tx.'),
    "kind": ("0.1 1 123 Rx q 1 01", 'line "0.1 1 123 Rx q 1 01" has no "d" or "r" with a length.'),
    "no length": ("0.1 1 123 Rx d", 'line "0.1 1 123 Rx d" has no "d" or "r" with a length.'),
    "length": ("0.1 1 123 Rx d z 01", 'length "z" is not a hex number from 0 to 15.'),
    "payload too short": ("0.1 1 123 Rx d 3 01 02", "the line says 3 payload bytes and has 2."),
    "payload too long": ("0.1 1 123 Rx d 1 01 02", "the line says 1 payload byte and has more."),
    "payload": ("0.1 1 123 Rx d 2 01 0G", 'payload "01 0G" is not made of hex bytes of two digits.'),
    "single digits": ("0.1 1 123 Rx d 2 1 023", 'payload "1 023" is not made of hex bytes of two digits.'),
    "details for payload": (
        "0.1 1 123 Rx d 3 01 02 Length = 0",
        'payload "01 02 Length" is not made of hex bytes of two digits.',
    ),
    "FD too short": ("0.1 CANFD 1 Rx", 'line "0.1 CANFD 1 Rx" has no channel, direction and identifier.'),
    "FD direction": ("0.1 CANFD 1 Ry 123 0 0 1 1 FF", 'direction "Ry" is neither Rx nor Tx.'),
    "FD marks": (
        "0.1 CANFD 1 Rx 123 name 2 0 1 1 FF",
        'line "0.1 CANFD 1 Rx 123 name 2 0 1 1 FF" has no BRS, ESI, DLC and length.',
    ),
    "FD length": ("0.1 CANFD 1 Rx 123 0 0 1 65 FF", 'length "65" is not a number from 0 to 64.'),
    "FD length and DLC": ("0.1 CANFD 1 Rx 123 1 0 8 12" + " 01" * 12, 'length "12" does not fit DLC "8".'),
    "FD flags": ("0.1 CANFD 1 Rx 123 0 0 1 1 FF 0 0 zz", 'flags "zz" are not a hex number.'),
    "date": ("date Sometime", 'date "date Sometime" is not readable; times may not be absolute.'),
    "long": ("x" * 100, f'line "{"x" * 59}…" is not of the ASC format.'),
}


@pytest.mark.parametrize(("line", "message"), DAMAGED.values(), ids=DAMAGED)
def test_damaged_line(line, message, tmp_path):
    content = f"{HEADER}1.0 1 100 Rx d 0\n{line}\n2.0 1 101 Rx d 0\n"
    batch, messages = read(tmp_path, content)
    assert messages == [f"line 4: {message}"]
    assert [int(identifier) for identifier in batch.identifier] == [0x100, 0x101]
    with pytest.raises(FormatError):
        list(FORMAT.read(tmp_path / "drive.asc", Problems(strict=True), 10))


LAST_LINES = {
    "whole by its length": ("0.2 1 101 Rx d 2 01 02", 1),
    "no payload": ("0.2 1 101 Rx d 0", 1),
    "cut in the details": ("0.2 1 101 Rx d 1 01 Length = 24", 1),
    "error frame": ("0.2 1 ErrorFrame", 1),
    "remote with length": ("0.2 1 101 Rx r 2", 1),
    "remote that may have a length": ("0.2 1 101 Rx r", 0),
    "a byte short": ("0.2 1 101 Rx d 2 01", 0),
    "half a byte": ("0.2 1 101 Rx d 2 01 0", 0),
    "no length": ("0.2 1 101 Rx d", 0),
    "FD that may lack its flags": ("0.2 CANFD 1 Rx 123 0 0 1 1 FF", 0),
    "half a word": ("0.2 1 ErrorFr", 0),
    "half a channel": ("0.2 CAN", 0),
    "time": ("   0.2", 0),
}


@pytest.mark.parametrize(("line", "kept"), LAST_LINES.values(), ids=LAST_LINES)
@pytest.mark.parametrize("rows", [1, 100])
def test_last_line_without_its_end(line, kept, rows, tmp_path):
    batch, messages = read(tmp_path, f"{HEADER}0.1 1 100 Rx d 0\n{line}", rows)
    assert len(batch) == 1 + kept
    expected = f'line 4: the file ends inside line "{line.strip()}"; it is lost.'
    assert messages == ([] if kept else [expected])


@pytest.mark.parametrize("line", ["End TriggerBlock", "End Trig", "// comm"])
def test_last_line_that_is_no_frame_needs_no_end(line, tmp_path):
    assert read(tmp_path, f"{HEADER}0.1 1 100 Rx d 0\n{line}")[1] == []


def test_decimal_base(tmp_path):
    lines = "base dec timestamps absolute\n0.1 1 2047 Rx d 3 1 20 255\n0.2 1 419361024x Tx d 8" + " 16" * 8 + "\n"
    batch, messages = read(tmp_path, lines)
    assert messages == []
    assert frames(batch) == [
        (100_000_000, "0", 0x7FF, 0, 3, b"\x01\x14\xff"),
        (200_000_000, "0", 0x18FEF100, EXTENDED | SENT, 8, b"\x10" * 8),
    ]


def test_decimal_base_damage(tmp_path):
    lines = "base dec\n0.1 1 1 Rx d 1 256\n0.1 1 7FF Rx d 0\n0.1 1 1 Rx d 1 12"
    batch, messages = read(tmp_path, lines)
    assert len(batch) == 0
    assert messages == [
        'line 2: payload "256" is not made of numbers from 0 to 255.',
        'line 3: identifier "7FF" is not a decimal number.',
        'line 4: the file ends inside line "0.1 1 1 Rx d 1 12"; it is lost.',
    ]


def test_relative_times_add_up_over_all_lines(tmp_path):
    lines = """base hex timestamps relative
    0.000000 Start of measurement
    0.100000 1 100 Rx d 0
    0.020000 CAN 1 Status:chip status error active
    0.003000 1 101 Rx d 0
    0.000400 1 102 Rx d 0
"""
    batch, messages = read(tmp_path, lines)
    assert messages == []
    assert list(batch.t_ns) == [100_000_000, 123_000_000, 123_400_000]


def local_ns(*moment):
    """Nanoseconds of a local date, fields from year to millisecond."""
    *fields, milliseconds = moment
    return int(datetime(*fields).timestamp()) * 1_000_000_000 + milliseconds * 1_000_000


DATES = {
    "24 hours": ("Sat Sep 30 15:06:13.191 2017", (2017, 9, 30, 15, 6, 13, 191)),
    "no milliseconds": ("Sat Sep 30 15:06:13 2017", (2017, 9, 30, 15, 6, 13, 0)),
    "afternoon": ("Sat Sep 30 03:06:13.191 pm 2017", (2017, 9, 30, 15, 6, 13, 191)),
    "morning": ("Sat Sep 30 10:06:13.191 AM 2017", (2017, 9, 30, 10, 6, 13, 191)),
    "midnight": ("Sat Sep 30 12:06:13 am 2017", (2017, 9, 30, 0, 6, 13, 0)),
    "noon": ("Sat Sep 30 12:06:13 pm 2017", (2017, 9, 30, 12, 6, 13, 0)),
    "one-digit day": ("Wed Mar 1 05:06:07.008 2023", (2023, 3, 1, 5, 6, 7, 8)),
    "milliseconds without leading zeros": ("Wed Mar 1 05:06:07.8 2023", (2023, 3, 1, 5, 6, 7, 8)),
    "microseconds": ("Wed Mar 1 05:06:07.008000 2023", (2023, 3, 1, 5, 6, 7, 8)),
    "German March": ("Mit Mär 1 05:06:07.008 2023", (2023, 3, 1, 5, 6, 7, 8)),
    "German May": ("Mon Mai 1 05:06:07.008 2023", (2023, 5, 1, 5, 6, 7, 8)),
    "German October": ("Son Okt 1 05:06:07.008 2023", (2023, 10, 1, 5, 6, 7, 8)),
    "German December": ("Fre Dez 1 05:06:07.008 2023", (2023, 12, 1, 5, 6, 7, 8)),
}


@pytest.mark.parametrize(("date", "moment"), DATES.values(), ids=DATES)
@pytest.mark.parametrize("begin", ["date ", "Begin Triggerblock ", "begin triggerblock "], ids=str.strip)
def test_date(begin, date, moment, tmp_path):
    batch, messages = read(tmp_path, f"{begin}{date}\n{HEADER}0.000001 1 100 Rx d 0\n")
    assert messages == []
    assert list(batch.t_ns) == [local_ns(*moment) + 1000]


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "utf-8-sig"])
def test_german_month_in_any_encoding(encoding, tmp_path):
    content = f"date Mit Mär 1 05:06:07.008 2023\n{HEADER}0.0 1 100 Rx d 0\n".encode(encoding)
    assert looks_like(content)
    batch, messages = read(tmp_path, content)
    assert messages == []
    assert list(batch.t_ns) == [local_ns(2023, 3, 1, 5, 6, 7, 8)]


@pytest.mark.parametrize("date", ["Sat Feb 30 15:06:13 2017", "Sat Sep 30 2017", "Sat Foo 3 15:06:13 2017", ""])
def test_unreadable_date(date, tmp_path):
    batch, messages = read(tmp_path, f"date {date}\n{HEADER}0.5 1 100 Rx d 0\n")
    assert messages == [f'line 1: date "{f"date {date}".strip()}" is not readable; times may not be absolute.']
    assert list(batch.t_ns) == [500_000_000]


def test_block_that_starts_anew_counts_from_its_date(tmp_path):
    lines = """date Sat Sep 30 15:00:00.000 2017
base hex  timestamps absolute
Begin Triggerblock Sat Sep 30 15:00:01.000 2017
   0.000000 Start of measurement
   0.5 1 100 Rx d 0
   9.5 1 101 Rx d 0
End TriggerBlock
Begin Triggerblock Sat Sep 30 15:10:00.000 2017
   0.000000 Start of measurement
   0.25 1 102 Rx d 0
End TriggerBlock
"""
    batch, messages = read(tmp_path, lines)
    assert messages == []
    first, second = local_ns(2017, 9, 30, 15, 0, 1, 0), local_ns(2017, 9, 30, 15, 10, 0, 0)
    assert list(batch.t_ns) == [first + 500_000_000, first + 9_500_000_000, second + 250_000_000]


def test_block_whose_times_go_on_counts_from_the_first_date(tmp_path):
    lines = """Begin Triggerblock Sat Sep 30 15:00:00.000 2017
   9.5 1 101 Rx d 0
End TriggerBlock
Begin Triggerblock Sat Sep 30 15:10:00.000 2017
   600.25 1 102 Rx d 0
"""
    batch, _ = read(tmp_path, lines)
    start = local_ns(2017, 9, 30, 15, 0, 0, 0)
    assert list(batch.t_ns) == [start + 9_500_000_000, start + 600_250_000_000]


def test_line_ends_of_another_system(tmp_path):
    batch, messages = read(tmp_path, HEADER.replace("\n", "\r\n") + "0.1 1 100 Rx d 1 AB\r\n0.2 1 101 Rx d 0\r\n")
    assert messages == []
    assert len(batch) == 2


HEADS = {
    "date first": (b"date Sat Sep 30 15:06:13.191 2017\nbase hex  timestamps absolute\n", True),
    "base first": (b"base hex  timestamps absolute\n", True),
    "decimal": (b"\n BASE DEC\n", True),
    "block first": (b"Begin Triggerblock Sat Sep 30 15:06:13.191 2017\n", True),
    "comments first": (b"// a drive\n// version 9.0.0\ndate Sat Sep 30 15:06:13 2017\n", True),
    "empty": (b"", False),
    "candump text": (b"(0.1) can0 123#00\n", False),
    "CSV": (b"timestamp,arbitration_id\n0.1,0x1\n", False),
    "CSV with dates": (b"date time,value\n2017-09-30 15:06:13,1\n", False),
    "TRC": (b";$FILEVERSION=1.1\n", False),
    "BLF": (b"LOGG\x90\0\0\0", False),
    "prose": (b"date of birth: 1 May 2017\n", False),
    "base of a pole": (b"base of pole\n", False),
}


@pytest.mark.parametrize(("head", "expected"), HEADS.values(), ids=HEADS)
def test_looks_like(head, expected):
    assert looks_like(head) is expected
