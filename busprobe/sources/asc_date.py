"""Dates of an ASC file, in the forms that recorders of several languages write.

date Sat Sep 30 15:06:13.191 2017
date Don Mär 30 03:06:13.191 pm 2017
Begin Triggerblock Fri Mai 12 15:06:13 2017
"""

from __future__ import annotations

import re
from datetime import datetime

from busprobe.sources.rows import DamagedError, shown

_DATE = re.compile(
    rb"(\S+)\s+(\d{1,2})\s+(\d{1,2}):(\d{1,2}):(\d{1,2})(?:[.,](\d{1,9}))?(?:\s+([ap])m)?\s+(\d{4})\s*\Z",
    re.IGNORECASE,
)
_MONTHS = {
    b"jan": 1, b"feb": 2, b"mar": 3, b"apr": 4, b"may": 5, b"mai": 5, b"jun": 6, b"jul": 7,
    b"aug": 8, b"sep": 9, b"oct": 10, b"okt": 10, b"nov": 11, b"dec": 12, b"dez": 12,
}  # fmt: skip


def date_ns(line: bytes) -> int:
    """Nanoseconds since the epoch of the date that ends a line, taken as local time.

    Up to three decimals count milliseconds: some writers leave out their leading zeros.
    Raises DamagedError where there is no date.
    """
    match = _DATE.search(line)
    month = _month(match[1]) if match else None
    if match is None or month is None:
        raise _unreadable(line)
    hour = int(match[3])
    if match[7]:
        hour = hour % 12 + (12 if match[7] in b"pP" else 0)
    try:
        moment = datetime(int(match[8]), month, int(match[2]), hour, int(match[4]), int(match[5]))
        seconds = int(moment.timestamp())
    except (ValueError, OverflowError, OSError):
        raise _unreadable(line) from None
    decimals = match[6] or b"0"
    part = decimals.ljust(9, b"0") if len(decimals) > 3 else decimals + b"000000"
    return seconds * 1_000_000_000 + int(part)


def _month(name: bytes) -> int | None:
    """Number of a month; "Mär" is known by its first and last letter, however the file is encoded."""
    name = name.lower()
    return 3 if name[:1] == b"m" and name[-1:] == b"r" else _MONTHS.get(name[:3])


def _unreadable(line: bytes) -> DamagedError:
    return DamagedError(f'date "{shown(line.strip())}" is not readable; times may not be absolute.')
