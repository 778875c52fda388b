"""Identifiers of OBD requests and answers (ISO 15765-4).

11 bits   7DF all units          7E0 .. 7E7 one unit          7E8 .. 7EF its answers (+ 8)
29 bits   18DB33F1 all units     18DAxxF1 unit xx             18DAF1xx its answers
"""

from __future__ import annotations

import numpy as np

from busprobe.frames import ERROR, EXTENDED, LATE, REMOTE, FrameBatch, Int64Array

ALL_11 = 0x7DF
LAST_11 = 0x7EF
FIRST_ANSWER_11 = 0x7E8
ALL_29 = 0x18DB33F1
PHYSICAL_29 = 0x18DA0000
TESTER = 0xF1

_NO_USE = REMOTE | ERROR | LATE


def obd_rows(batch: FrameBatch) -> Int64Array:
    """Rows of the frames that carry OBD requests or answers."""
    identifier = batch.identifier
    near = (identifier - np.uint32(ALL_11)) <= LAST_11 - ALL_11
    near |= (identifier - np.uint32(PHYSICAL_29)) < 0x20000
    rows = np.flatnonzero(near)
    if not len(rows):
        return rows
    found, flags = identifier[rows], batch.flags[rows]
    target, source = found >> 8 & 0xFF, found & 0xFF
    physical = (found < PHYSICAL_29 + 0x10000) & ((target == TESTER) ^ (source == TESTER))
    extended = (flags & EXTENDED) != 0
    good = np.where(extended, physical | (found == ALL_29), found <= LAST_11)
    picked: Int64Array = rows[good & ((flags & _NO_USE) == 0)]
    return picked


def is_answer(identifier: int) -> bool:
    """Whether an OBD identifier is that of an answer; else it is that of a request."""
    if identifier <= LAST_11:
        return identifier >= FIRST_ANSWER_11
    return identifier != ALL_29 and identifier >> 8 & 0xFF == TESTER


def answering_unit(request: int) -> int | None:
    """Identifier that the unit asked by `request` answers with; None: all units were asked."""
    if request in (ALL_11, ALL_29):
        return None
    if request <= LAST_11:
        return request + 8
    return PHYSICAL_29 | TESTER << 8 | request >> 8 & 0xFF
