"""Identifiers of OBD requests and answers, for whoever asks (ISO 15765-4).

11 bits   7DF all units          7E0 .. 7E7 one unit          7E8 .. 7EF its answers (+ 8)
29 bits   18DB33F1 all units     18DAxxF1 unit xx             18DAF1xx its answers
"""

from __future__ import annotations

import numpy as np

from busprobe.frames import ERROR, EXTENDED, FD, LATE, REMOTE, BoolArray, FrameBatch, Int64Array

ALL_11 = 0x7DF
FIRST_UNIT_11 = 0x7E0
FIRST_ANSWER_11 = 0x7E8
LAST_11 = 0x7EF
ALL_29 = 0x18DB33F1
TO_UNIT_29 = 0x18DA00F1
ANSWER_29 = 0x18DAF100

_NO_USE = ERROR | REMOTE | LATE | FD
"""OBD frames are classic data frames."""


def is_extended(identifier: int) -> bool:
    """Whether an OBD identifier has 29 bits."""
    return identifier > LAST_11


def is_answer(identifier: int) -> bool:
    """Whether an OBD identifier is that of an answer; else a tester sends it."""
    return identifier >= FIRST_ANSWER_11 and (identifier <= LAST_11 or identifier & 0xFFFFFF00 == ANSWER_29)


def asking(answer: int) -> int:
    """Identifier on which the unit is asked that answers as `answer`."""
    return TO_UNIT_29 | (answer & 0xFF) << 8 if is_extended(answer) else answer - 8


def request_rows(batch: FrameBatch) -> Int64Array:
    """Rows of what testers send: requests, and flow control for the answers."""
    extended, found = (batch.flags & EXTENDED) != 0, batch.identifier
    to_unit = (found & np.uint32(0xFFFF00FF)) == TO_UNIT_29
    hit = np.where(
        extended,
        (found == ALL_29) | (to_unit & ((found >> np.uint32(8) & np.uint32(0xFF)) != 0xF1)),
        (found == ALL_11) | (found - np.uint32(FIRST_UNIT_11) < 8),
    )
    return _used(batch, hit)


def answer_rows(batch: FrameBatch) -> Int64Array:
    """Rows of what control units send."""
    extended, found = (batch.flags & EXTENDED) != 0, batch.identifier
    hit = np.where(
        extended,
        ((found & np.uint32(0xFFFFFF00)) == ANSWER_29) & ((found & np.uint32(0xFF)) != 0xF1),
        found - np.uint32(FIRST_ANSWER_11) < 8,
    )
    return _used(batch, hit)


def _used(batch: FrameBatch, hit: BoolArray) -> Int64Array:
    rows: Int64Array = np.flatnonzero(hit & ((batch.flags & _NO_USE) == 0))
    return rows
