"""CSV of python-can: lines, damage, times, cuts."""

from __future__ import annotations

from fractions import Fraction

import can
import contract
import pytest

from busprobe.errors import Problems
from busprobe.frames import ERROR, EXTENDED, FD, REMOTE
from busprobe.sources.csv_log import FORMAT, looks_like

HEADER = "timestamp,arbitration_id,extended,remote,error,dlc,data\n"


def read(path, content, rows=1000):
    path.write_text(content)
    problems = Problems()
    return contract.frames(contract.read_all(FORMAT, path, problems, rows)), problems


LINES = [
    ("1483389946.197,0xdadada,1,0,0,6,3q2+7wEC", (1_483_389_946_197_000_000, 0xDADADA, EXTENDED, 6, "deadbeef0102")),
    ("0.0,0x7ff,0,0,0,0,", (0, 0x7FF, 0, 0, "")),
    ("1e-06,0x1,0,0,0,1,/w==", (1_000, 1, 0, 1, "ff")),
    ("1.5e-07,0x1,0,0,0,1,/w==", (150, 1, 0, 1, "ff")),
    ("1436509052.2497132,0X1A,0,0,0,1,/w==", (1_436_509_052_249_713_200, 0x1A, 0, 1, "ff")),
    ("12.0000000015,0x1,0,1,0,8,", (12_000_000_002, 1, REMOTE, 8, "")),
    ("12.0,0x0,1,0,1,0,", (12_000_000_000, 0, ERROR, 0, "")),
    ("12.0,0x1,0,0,0,12,AAECAwQFBgcICQoL", (12_000_000_000, 1, FD, 12, "000102030405060708090a0b")),
]


@pytest.mark.parametrize(("line", "expected"), LINES, ids=[line for line, _ in LINES])
def test_line(line, expected, tmp_path):
    t_ns, identifier, flags, length, data = expected
    frame = (t_ns, "0", identifier, flags, length, bytes.fromhex(data).ljust(64, b"\0"))
    for line_end in ("\n", "\r\n"):
        found, problems = read(tmp_path / "a.csv", HEADER + line + line_end)
        assert found == [frame]
        assert problems.count == 0


def test_float_times_come_back(tmp_path):
    path = contract.write(contract.SAMPLES[FORMAT.name], tmp_path / "a.csv", contract.drive(200))
    batch = contract.read_all(FORMAT, path)
    times = [message.timestamp for message in can.CSVReader(path)]
    assert [float(Fraction(int(t), 10**9)) for t in batch.t_ns] == times


DAMAGED = [
    ("garbage", 'line "garbage" has 1 field, not 7.'),
    ("x,0x1,0,0,0,1,/w==", 'time stamp "x" is not readable.'),
    ("-1.0,0x1,0,0,0,1,/w==", 'time stamp "-1.0" is not readable.'),
    ("nan,0x1,0,0,0,1,/w==", 'time stamp "nan" is not readable.'),
    ("2400000000.5,0x1,0,0,0,1,/w==", 'time stamp "2400000000.5" is later than a recording can hold.'),
    ("1.0,0x1,0,1,0,1,/w==", 'payload "/w==" stands in a remote frame, which has none.'),
    ("1e300,0x1,0,0,0,1,/w==", 'time stamp "1e300" is later than a recording can hold.'),
    ("1.0,0xZZ,0,0,0,1,/w==", 'identifier "zz" is not a hex number.'),
    ("1.0,0x800,0,0,0,1,/w==", 'identifier "800" is above 7FF, the highest of 11 bits.'),
    ("1.0,0x20000000,1,0,0,1,/w==", 'identifier "20000000" is above 1FFFFFFF, the highest of 29 bits.'),
    ("1.0,0x1,2,0,0,1,/w==", 'column "extended" has "2", not 0 or 1.'),
    ("1.0,0x1,0,0,,1,/w==", 'column "error" has "", not 0 or 1.'),
    ("1.0,0x1,0,0,0,,/w==", 'dlc "" is not a number.'),
    ("1.0,0x1,0,0,0,1,/w=", 'payload "/w=" is not base64.'),
    ("1.0,0x1,0,0,0,2,/w==", 'payload "/w==" has 1 byte and the dlc is "2".'),
    ("1.0,0x1,0,1,0,9,", 'payload "" has 0 bytes and the dlc is "9".'),
    ("1.0,0x1,0,0,0,9,AAECAwQFBgcI", 'payload "AAECAwQFBgcI" has 9 bytes and the dlc is "9".'),
]


@pytest.mark.parametrize(("line", "message"), DAMAGED, ids=[line for line, _ in DAMAGED])
def test_damaged_line(line, message, tmp_path):
    path = tmp_path / "a.csv"
    found, problems = read(path, f"{HEADER}1.0,0x1,0,0,0,1,/w==\n\n{line}\n2.0,0x1,0,0,0,1,/w==\n")
    assert len(found) == 2
    assert [str(problem) for problem in problems.items] == [f"{path}, line 4: {message}"]


def test_looks_like():
    assert looks_like(HEADER.encode() + b"1.0")
    assert looks_like(b"\xef\xbb\xbf" + HEADER.encode())
    assert not looks_like(b"time,speed\n1,2\n")
