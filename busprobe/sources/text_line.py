"""One line of a microcontroller that prints its inputs.

    # 8 lines, 2 voltages
    12345678 00100110 12840 9105 #55
    12355680 00100111 12835 9105 #54

Time in µs, which starts again after 2^32 - 1; the level of each on/off line, line 0 first, 1 high;
millivolts of each analogue line; "#" and the check, two upper-case hex digits: the low byte of the
sum of all characters before the space in front of "#". Millivolts and check may be left out. A
line that starts with "#" is a remark, such as a header. The format is busprobe's own.
"""

from __future__ import annotations

import re
from typing import NamedTuple

WRAP_US = 1 << 32
LONGEST = 512
"""Bytes of a line; what is longer is none."""

_LINE = re.compile(rb"(([0-9]{1,10}) ([01]{1,64})((?: -?[0-9]{1,7})*))(?: #([0-9A-F]{2}))?")


class TextSample(NamedTuple):
    """What one line says."""

    time_us: int
    mask: int
    """Bit k is the level of on/off line k."""
    millivolts: tuple[int, ...]
    levels: int
    """How many on/off lines."""
    is_checked: bool

    @property
    def shape(self) -> tuple[int, int, bool]:
        """What stays the same from line to line."""
        return self.levels, len(self.millivolts), self.is_checked


def read_line(line: bytes) -> TextSample | None:
    """A line without its line feed; None where it is damaged."""
    match = _LINE.fullmatch(line.rstrip(b"\r"))
    if match is None:
        return None
    said, time_us, levels, millivolts, check = match.groups()
    if int(time_us) >= WRAP_US or (check is not None and int(check, 16) != sum(said) & 0xFF):
        return None
    volts = tuple(int(number) for number in millivolts.split())
    return TextSample(int(time_us), int(levels[::-1], 2), volts, len(levels), check is not None)


def is_remark(line: bytes) -> bool:
    return line.startswith(b"#") or not line.strip()


def characters(on_off: int, analogue: int) -> int:
    """Length of the longest usual line: time, levels, five digits a voltage, check, line end."""
    return 10 + 1 + max(on_off, 1) + 6 * analogue + 4 + 2


class LineCutter:
    """Bytes as they come to whole lines; the first piece after opening may be half a line and is dropped."""

    def __init__(self) -> None:
        self.rest = b""
        """What has come of the line at hand."""
        self._is_cut = True

    def feed(self, data: bytes) -> list[bytes]:
        """Lines that end in `data`, without line feed; a run without one that is too long is cut off as a line."""
        *lines, self.rest = (self.rest + data).split(b"\n")
        if self._is_cut and lines:
            del lines[0]
            self._is_cut = False
        if len(self.rest) > LONGEST:
            lines.append(self.rest)
            self.rest, self._is_cut = b"", True
        return lines


class LineOrder:
    """Keeps lines out that do not follow on the one before: damaged ones that still look like a line.

    A line follows if it has the same shape and its time is later, by no more than has passed here
    plus 1 s. Where one does not and the next follows on that one, the box has started again.
    """

    def __init__(self) -> None:
        self._last: tuple[TextSample, int] | None = None
        self._doubtful: tuple[TextSample, int] | None = None
        self.time_us = 0
        """Time of the newest accepted line, counted on through 2^32."""
        self.has_restarted = False
        """Whether the newest accepted line is the first after a start of the box."""

    @property
    def has_begun(self) -> bool:
        """Whether a line was accepted yet."""
        return self._last is not None

    def accept(self, sample: TextSample, arrival_ns: int) -> bool:
        self.has_restarted = False
        here = (sample, arrival_ns)
        if self._last is not None and (step := _step_us(self._last, here)) is not None:
            self.time_us += step
        elif self._doubtful is not None and _step_us(self._doubtful, here) is not None:
            self.time_us, self.has_restarted = sample.time_us, True
        else:
            self._doubtful = here
            return False
        self._last, self._doubtful = here, None
        return True


def _step_us(before: tuple[TextSample, int], after: tuple[TextSample, int]) -> int | None:
    """Time from one line to the next; None where it does not follow."""
    (old, came_ns), (new, comes_ns) = before, after
    step = (new.time_us - old.time_us) % WRAP_US
    if new.shape != old.shape or not 0 < step <= (comes_ns - came_ns) // 1000 + 1_000_000:
        return None
    return step
