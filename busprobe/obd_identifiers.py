"""Identifiers of OBD requests and answers (ISO 15765-4), for those who ask and those who listen.

11 bits   7DF all units          7E0 .. 7E7 one unit          7E8 .. 7EF its answers (+ 8)
29 bits   18DB33F1 all units     18DAxxF1 unit xx             18DAF1xx its answers
"""

from __future__ import annotations

import numpy as np

from busprobe.frames import ERROR, EXTENDED, FD, LATE, REMOTE, BoolArray, FrameBatch, Int64Array, UInt32Array

ALL_11 = 0x7DF
FIRST_UNIT_11 = 0x7E0
FIRST_ANSWER_11 = 0x7E8
LAST_11 = 0x7EF
ALL_29 = 0x18DB33F1
TO_UNIT_29 = 0x18DA00F1
ANSWER_29 = 0x18DAF100

_PHYSICAL_29 = 0x18DA0000
_TESTER = 0xF1
_NO_USE = REMOTE | ERROR | LATE


def is_extended(identifier: int) -> bool:
    """Whether an OBD identifier has 29 bits."""
    return identifier > LAST_11


def is_answer(identifier: int) -> bool:
    """Whether an OBD identifier is that of an answer; else a tester sends it."""
    return identifier >= FIRST_ANSWER_11 and (identifier <= LAST_11 or identifier & 0xFFFFFF00 == ANSWER_29)


def asking(answer: int) -> int:
    """Identifier on which the unit is asked that answers as `answer`."""
    return TO_UNIT_29 | (answer & 0xFF) << 8 if is_extended(answer) else answer - 8


def answering_unit(request: int) -> int | None:
    """Identifier that the unit asked by `request` answers with; None: all units were asked."""
    if request in (ALL_11, ALL_29):
        return None
    return ANSWER_29 | request >> 8 & 0xFF if is_extended(request) else request + 8


def obd_rows(batch: FrameBatch) -> Int64Array:
    """Rows of the frames that carry OBD requests or answers."""
    identifier = batch.identifier
    near = (identifier - np.uint32(ALL_11)) <= LAST_11 - ALL_11
    near |= (identifier - np.uint32(_PHYSICAL_29)) < 0x20000
    rows = np.flatnonzero(near)
    if not len(rows):
        return rows
    found, flags = identifier[rows], batch.flags[rows]
    target, source = found >> 8 & 0xFF, found & 0xFF
    physical = (found < _PHYSICAL_29 + 0x10000) & ((target == _TESTER) ^ (source == _TESTER))
    extended = (flags & EXTENDED) != 0
    good = np.where(extended, physical | (found == ALL_29), found <= LAST_11)
    picked: Int64Array = rows[good & ((flags & _NO_USE) == 0)]
    return picked


def request_rows(batch: FrameBatch) -> Int64Array:
    """Rows of what testers send in classic frames: requests, and flow control for the answers."""
    rows = _classic_rows(batch)
    return rows[~_are_answers(batch.identifier[rows])]


def answer_rows(batch: FrameBatch) -> Int64Array:
    """Rows of what control units send in classic frames."""
    rows = _classic_rows(batch)
    return rows[_are_answers(batch.identifier[rows])]


def _classic_rows(batch: FrameBatch) -> Int64Array:
    rows = obd_rows(batch)
    classic: Int64Array = rows[(batch.flags[rows] & FD) == 0]
    return classic


def _are_answers(identifiers: UInt32Array) -> BoolArray:
    """(n,) `is_answer` of identifiers of OBD."""
    of_11 = (identifiers >= FIRST_ANSWER_11) & (identifiers <= LAST_11)
    of_29: BoolArray = (identifiers & np.uint32(0xFFFFFF00)) == ANSWER_29
    return of_11 | of_29
