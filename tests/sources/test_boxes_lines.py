"""Text lines: what a line says, which lines are left out, and the sketch in README."""

import random
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from busprobe.sources.text_line import (
    LONGEST,
    LineCutter,
    LineOrder,
    TextSample,
    characters,
    is_remark,
    read_line,
)
from busprobe.van.box_ports import Levels, text_line

README = Path(__file__).parents[2] / "README.md"
MS = 1_000_000


@pytest.mark.parametrize(
    ("line", "sample"),
    [
        pytest.param(b"0 1", TextSample(0, 1, (), 1, False), id="shortest"),
        pytest.param(b"12345678 00100110", TextSample(12345678, 0b01100100, (), 8, False), id="line 0 first"),
        pytest.param(b"7 01 12840 -5", TextSample(7, 2, (12840, -5), 2, False), id="millivolts, one negative"),
        pytest.param(b"7 01 12840\r", TextSample(7, 2, (12840,), 2, False), id="carriage return"),
        pytest.param(b"4294967295 1", TextSample(2**32 - 1, 1, (), 1, False), id="latest time"),
        pytest.param(b"1 " + b"1" * 64, TextSample(1, 2**64 - 1, (), 64, False), id="64 lines"),
        pytest.param(
            b"12345678 00100110 12840 9105 #55",
            TextSample(12345678, 0b01100100, (12840, 9105), 8, True),
            id="example of README: the characters add up to 0x655",
        ),
    ],
)
def test_line(line: bytes, sample: TextSample) -> None:
    assert read_line(line) == sample


@pytest.mark.parametrize(
    "line",
    [
        b"", b"12345", b"12345 ", b"0010 1.5 2", b"12 0210", b"12 01 mV", b"12  01", b" 12 01", b"12 01 ", b"-5 01",
        b"12345678 00100110 12840 9105 #54", b"12 01 #5", b"12 01 #5g", b"12 01 #", b"\xff\xfe 01", b"12 01\x00",
        b"4294967296 1", b"1 " + b"1" * 65, b"12 01 123456789",
    ],
)  # fmt: skip
def test_damaged_line(line: bytes) -> None:
    assert read_line(line) is None


def test_remarks() -> None:
    assert is_remark(b"# 8 lines, 2 voltages\r")
    assert is_remark(b"\r")
    assert not is_remark(b"12 01")


def test_what_the_simulated_box_prints_is_read_back() -> None:
    rng = random.Random(1)
    for _ in range(200):
        on_off, mask, time_us = rng.randint(1, 64), rng.getrandbits(64), rng.getrandbits(32)
        volts = tuple(rng.randint(-999_999, 999_999) for _ in range(rng.randint(0, 5)))
        line = text_line(time_us, Levels(mask, volts), on_off)
        assert line.endswith(b"\r\n")
        assert read_line(line[:-1]) == TextSample(time_us, mask & (1 << on_off) - 1, volts, on_off, True)


@pytest.mark.parametrize("one", range(24))
def test_a_changed_character_does_not_pass_the_check(one: int) -> None:
    good = b"1234567 0010 12840 #%02X" % (sum(b"1234567 0010 12840") & 0xFF)
    place = one % len(good)
    for other in b"0123456789# \xff":
        if other != good[place]:
            assert read_line(good[:place] + bytes([other]) + good[place + 1 :]) is None


def test_characters_of_a_usual_line() -> None:
    line = text_line(4_000_000_000, Levels(0, (12840, 13105)), 14)
    assert characters(14, 2) == len(line)


def test_the_first_piece_is_dropped_and_pieces_are_joined() -> None:
    cutter = LineCutter()
    assert cutter.feed(b"45 01\n46 0") == []
    assert cutter.feed(b"1") == []
    assert cutter.feed(b"\n47 01\n") == [b"46 01", b"47 01"]


def test_a_run_without_line_feed_is_cut_off() -> None:
    cutter = LineCutter()
    assert cutter.feed(b"\n" + b"x" * LONGEST) == []
    [line] = cutter.feed(b"x")
    assert len(line) == LONGEST + 1
    assert cutter.feed(b"rest of it\n46 01\n") == [b"46 01"]


def test_any_rubbish_is_read_without_a_crash() -> None:
    rng = random.Random(2)
    cutter, order = LineCutter(), LineOrder()
    accepted = 0
    for number in range(2000):
        for line in cutter.feed(rng.randbytes(rng.randint(1, 64))):
            sample = read_line(line)
            accepted += sample is not None and order.accept(sample, number * MS)
    assert accepted == 0
    assert len(cutter.rest) <= LONGEST


def order_of(*lines: tuple[bytes, int]) -> list[int | None]:
    """Accepted time in µs of each line with its arrival in ms, None where it is left out."""
    order, out = LineOrder(), []
    for text, ms in lines:
        sample = read_line(text)
        assert sample is not None
        out.append(order.time_us if order.accept(sample, ms * MS) else None)
    return out


@pytest.mark.parametrize(
    ("lines", "times"),
    [
        pytest.param([(b"100 01", 0), (b"200 01", 1), (b"300 01", 1)], [None, 200, 300], id="the first only vouches"),
        pytest.param(
            [(b"4294967000 01", 0), (b"4294967200 01", 1), (b"104 01", 1), (b"304 01", 2)],
            [None, 4294967200, 2**32 + 104, 2**32 + 304],
            id="time goes on through 2^32",
        ),
        pytest.param(
            [(b"100 01", 0), (b"200 01", 1), (b"300 0", 1), (b"400 01", 1)],
            [None, 200, None, 400],
            id="a line of another shape is left out",
        ),
        pytest.param(
            [(b"100 01", 0), (b"200 01", 1), (b"900000300 01", 1), (b"400 01", 1)],
            [None, 200, None, 400],
            id="a time that leaps is left out",
        ),
        pytest.param(
            [(b"90000 01", 0), (b"90200 01", 1), (b"50 01", 900), (b"150 01", 901)],
            [None, 90200, None, 150],
            id="a box that starts again",
        ),
        pytest.param(
            [(b"100 01", 0), (b"200 01", 1), (b"200 01", 1), (b"300 01", 2)],
            [None, 200, None, 300],
            id="the same time twice",
        ),
        pytest.param(
            [(b"100 01", 0), (b"200 01", 1), (b"300 01 5", 2), (b"400 01 5", 3)],
            [None, 200, None, 400],
            id="another program on the board",
        ),
        pytest.param(
            [(b"100 01", 0), (b"200 01", 1), (b"2000200 01", 1100), (b"2000300 01", 1101)],
            [None, 200, 2000200, 2000300],
            id="a gap as long as has passed here, and 0.9 s more",
        ),
    ],
)
def test_order(lines: list[tuple[bytes, int]], times: list[int | None]) -> None:
    assert order_of(*lines) == times


# The sketch of README, compiled for this machine.

BOARD = r"""
#include <cstdio>
typedef unsigned char byte;
enum { A0 = 14, A1 = 15, INPUT = 0 };
unsigned long clock_us = 4294960000UL;
unsigned long micros() { return clock_us += 500, clock_us &= 0xFFFFFFFFUL; }
void pinMode(int, int) {}
int digitalRead(int pin) { return pin % 2; }
int analogRead(int pin) { return pin == A0 ? 807 : 0; }
struct { void begin(long) {} void println(const char *text) { std::printf("%s\r\n", text); } } Serial;
"""


def sketch() -> str:
    found = re.search(r"```cpp\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    return found[1]


def test_the_sketch_has_at_most_30_lines() -> None:
    assert len(sketch().splitlines()) <= 30


@pytest.mark.skipif(shutil.which("g++") is None, reason="no C++ compiler")
def test_what_the_sketch_prints_is_read(tmp_path: Path) -> None:
    source = tmp_path / "sketch.cpp"
    calls = "int main() { setup(); for (int k = 0; k < 4000; k++) loop(); }\n"
    # On the board a long has 32 bits.
    source.write_text(BOARD + sketch().replace("(long)(now - due)", "(int)(unsigned)(now - due)") + calls)
    subprocess.run(["g++", "-o", tmp_path / "sketch", source], check=True, timeout=60)
    printed = subprocess.run([tmp_path / "sketch"], capture_output=True, check=True, timeout=60).stdout
    lines = printed.split(b"\n")[:-1]
    assert lines[0] == b"# 8 lines, 2 voltages\r"
    samples = [read_line(line) for line in lines if not is_remark(line)]
    assert len(samples) > 150
    assert all(sample is not None and sample.mask == 0b10101010 for sample in samples)
    # 807 counts of 1023 are 3944 mV at the pin, 12622 mV on the wire.
    assert {sample.millivolts for sample in samples if sample is not None} == {(12621, 0)}
    order = LineOrder()
    steps = [order.accept(sample, 10 * MS * number) for number, sample in enumerate(samples) if sample is not None]
    assert steps == [False] + [True] * (len(samples) - 1)
