"""Candump text, many lines at once. What does not fit here goes to `candump_line`.

    (1436509052.249713) can0 123#DEADBEEF
    ^start      ......^closing  ^mark    ^end

Every line is cut at four places: its start, the closing parenthesis, the first "#" and its
end. From these, words of eight characters are gathered for all lines and read by the
arithmetic of `ascii_digits`. Nothing is guessed: a line is taken only if every character of
it was looked at; all others are left with `done` false for the line parser.
Source of the format: see `candump_line`.
"""

from __future__ import annotations

import re

import numpy as np

from busprobe.frames import (
    ERROR,
    EXTENDED,
    FD,
    PASSIVE,
    SENT,
    SWITCHED,
    TAIL_WORDS,
    BoolArray,
    Int64Array,
    UInt8Array,
    UInt32Array,
    UInt64Array,
)
from busprobe.sources.ascii_digits import HEX_VALUE, ZEROS, decimal, hex_bytes, keep_first
from busprobe.sources.candump_columns import Columns, empty_columns
from busprobe.sources.candump_line import ERROR_ID
from busprobe.sources.limits import FD_LENGTHS, MAX_EXTENDED, MAX_STANDARD
from busprobe.sources.line_blocks import Text
from busprobe.sources.rows import MAX_CHANNELS
from busprobe.timeline import FOREVER

_CLOSING = np.uint64(int.from_bytes(b") ", "little"))
_SPACE, _NUMBER_SIGN, _CARRIAGE_RETURN = 0x20, 0x23, 0x0D
_KEEP_8 = keep_first(1)[:, 0]
_KEEP_16 = keep_first(2)
_KEEP_TAIL = keep_first(2 * TAIL_WORDS)
_ID_DIGITS = np.uint64(0xFFFFFF0000000000)
"""Mask of the last three characters of a word."""
_FD_LENGTH = np.isin(np.arange(256), FD_LENGTHS)
_SECONDS = re.compile(rb"\((\d{1,10})\.(\d{3})?")
_MAX_NAME = 16
_MIN_STAMP, _MAX_STAMP = 10, 22
"""Characters of a time stamp that is read here, parentheses included."""
_MAX_SHAPES = 4
"""Time stamps of more lengths than these in one block go to the line parser."""


def parse_lines(text: Text, starts: Int64Array, ends: Int64Array) -> Columns:
    """Frames of the lines from `starts` to `ends` (places in `text.data`, line end excluded).

    Lines are taken together by the length of their time stamps; nearly always all at once.
    """
    columns = None
    rest = np.arange(len(starts))
    for _ in range(_MAX_SHAPES):
        sample = len(rest) // 2
        start = int(starts[rest[sample]])
        closing = text.line(start, start + _MAX_STAMP).find(b")")
        fits = text.data[starts[rest] + closing] == ord(")")
        if columns is None and fits.all() and closing >= _MIN_STAMP - 1:
            return _parse_shape(text, starts, ends, closing)
        columns = columns or empty_columns(len(starts))
        if closing >= _MIN_STAMP - 1:
            rows = rest[fits]
            columns.put(rows, _parse_shape(text, starts[rows], ends[rows], closing))
            rest = rest[~fits]
        else:
            rest = np.delete(rest, sample)
        if not len(rest):
            break
    return columns or empty_columns(len(starts))


def _parse_shape(text: Text, starts: Int64Array, ends: Int64Array, closing: int) -> Columns:
    """Lines whose closing parenthesis is `closing` characters from their start."""
    head = text.gather(starts + (closing - 22), 4)
    t_ns, good = _times(text, head, starts, closing)
    ends, flags = _line_ends(text, ends)
    marks, found = _marks(text, starts, ends)
    good &= found
    identifier, id_length = _identifiers(text, marks, flags, good)
    names = starts + (closing + 2)
    name_length = marks - id_length - 1 - names
    good &= (name_length > 0) & (name_length <= _MAX_NAME)
    payload, length, tail = _payloads(text, marks, ends, flags, good)
    columns = Columns(t_ns, np.zeros(len(starts), np.uint16), identifier, flags, length, payload, good)
    _fill_names(text, names, name_length, head[:, 3], columns)
    if tail is not None:
        keep = good[tail[0]]
        columns.tails.append((tail[0][keep], tail[1][keep]))
    return columns


def _times(text: Text, head: UInt64Array, starts: Int64Array, closing: int) -> tuple[Int64Array, BoolArray]:
    """Times in ns; `head` has the 24 characters up to ") " in its first three words.

    The last six decimals are read for every line, what stands before them only where it
    differs from the line before.
    """
    low, good = decimal(head[:, 2] << np.uint64(16) | ZEROS >> np.uint64(48))
    good &= head[:, 2] >> np.uint64(48) == _CLOSING
    prefix = closing - 6
    near = head[:, 1] >> np.uint64(8 * max(0, 8 - prefix))
    changed = near[1:] != near[:-1]
    if prefix > 8:
        far = head[:, 0] >> np.uint64(8 * (16 - prefix))
        changed |= far[1:] != far[:-1]
    runs = np.concatenate(([0], np.flatnonzero(changed) + 1))
    scale = 1000 if text.data[starts[len(starts) // 2] + prefix - 1] == ord(".") else 1
    base = np.array([_seconds_ns(text.line(s, s + prefix), scale) for s in starts[runs].tolist()], np.int64)
    base = np.repeat(base, np.diff(runs, append=len(starts)))
    good &= base >= 0
    return base + low.view(np.int64) * scale, good


def _seconds_ns(text: bytes, scale: int) -> int:
    """Time before the last six decimals in ns; -1: not readable here."""
    match = _SECONDS.fullmatch(text)
    if not match or (match[2] is None) != (scale == 1000):
        return -1
    t_ns = int(match[1]) * 1_000_000_000 + int(match[2] or b"0") * 1_000_000
    return t_ns if t_ns < FOREVER - 1_000_000_000 else -1


def _line_ends(text: Text, ends: Int64Array) -> tuple[Int64Array, UInt8Array]:
    """Ends without carriage return and direction mark; flag SENT from the mark."""
    flags = np.zeros(len(ends), np.uint8)
    last = text.data[ends - 1]
    returns = last == _CARRIAGE_RETURN
    if returns.any():
        ends = ends - returns
        last = text.data[ends - 1]
    sent = last == ord("T")
    marked = sent | (last == ord("R"))
    if marked.any():
        marked &= text.data[ends - 2] == _SPACE
        ends = ends - 2 * marked
        flags[sent & marked] = SENT
    return ends, flags


def _marks(text: Text, starts: Int64Array, ends: Int64Array) -> tuple[Int64Array, BoolArray]:
    """Place of the first "#" of every line, and whether there is one."""
    first, last = int(starts[0]), int(ends[-1])
    marks = np.flatnonzero(text.data[first:last] == _NUMBER_SIGN) + first
    if len(marks) != len(starts):
        marks = marks[text.data[marks - 1] != _NUMBER_SIGN]
    if len(marks) != len(starts):
        if not len(marks):
            return starts, np.zeros(len(starts), np.bool_)
        marks = marks[np.searchsorted(marks, starts).clip(max=len(marks) - 1)]
    return marks, (marks > starts) & (marks < ends)


def _identifiers(
    text: Text, marks: Int64Array, flags: UInt8Array, good: BoolArray
) -> tuple[UInt32Array, Int64Array | int]:
    """Identifiers, and their lengths in characters; adds to `flags`, clears `good`."""
    word = text.words[marks - 8]
    short = text.data[marks - 4] == _SPACE
    all_short = bool(short.all())
    if all_short:
        word = word & _ID_DIGITS | ZEROS & ~_ID_DIGITS
    else:
        good &= short | (text.data[marks - 9] == _SPACE)
        word = np.where(short, word & _ID_DIGITS | ZEROS & ~_ID_DIGITS, word)
    values = _hex_of(word[:, None], good).view(">u4")[:, 0].astype(np.uint32)
    if all_short:
        good &= values <= MAX_STANDARD
        return values, 3
    good &= ~short | (values <= MAX_STANDARD)
    flags[~short] |= EXTENDED
    if (values > MAX_EXTENDED).any():
        error = values & ~np.uint32(MAX_EXTENDED) == ERROR_ID
        good &= error | (values <= MAX_EXTENDED)
        flags[error] ^= EXTENDED | ERROR
        values &= np.uint32(MAX_EXTENDED)
    return values, np.where(short, 3, 8)


def _hex_of(words: UInt64Array, good: BoolArray) -> UInt8Array:
    """Bytes of hex digits; rows that are not hex, or not `good` before, come out as zeros."""
    if not good.all():
        words[~good] = ZEROS
    data, bad = hex_bytes(np.ascontiguousarray(words))
    if bad is not None:
        good &= ~bad
    return data


def _payloads(
    text: Text, marks: Int64Array, ends: Int64Array, flags: UInt8Array, good: BoolArray
) -> tuple[UInt64Array, UInt8Array, tuple[Int64Array, UInt64Array] | None]:
    """Payload word 0, lengths, and (rows, words 1 to 7) of longer payloads, if any."""
    places = marks + 1
    after = text.data[places]
    good &= after != ord("R")
    fd = after == _NUMBER_SIGN
    has_fd = bool(fd.any())
    if has_fd:
        places = places + 2 * fd
        _fd_flags(text, places, fd, flags, good)
    digits = ends - places
    good &= (digits >= 0) & (digits & 1 == 0) & (fd | (digits <= 16))
    length = (digits >> 1).astype(np.uint8)
    words = text.gather(places, 2)
    if not (digits == 16).all():
        words ^= ZEROS
        words &= _KEEP_16.take(digits, axis=0, mode="clip")
        words ^= ZEROS
    tail = None
    if has_fd:
        good &= (digits < 256) & _FD_LENGTH[length]
        tail = _tails(text, places, digits, good)
    return _hex_of(words, good).view("<u8")[:, 0].astype(np.uint64), length, tail


def _fd_flags(text: Text, places: Int64Array, fd: BoolArray, flags: UInt8Array, good: BoolArray) -> None:
    """The digit between "##" and the payload, as flags."""
    bits = HEX_VALUE[text.data[places - 1]]
    good &= ~fd | (bits < 16)
    flags[fd] |= FD
    flags[fd & (bits & 1 != 0)] |= SWITCHED
    flags[fd & (bits & 2 != 0)] |= PASSIVE


def _tails(
    text: Text, places: Int64Array, digits: Int64Array, good: BoolArray
) -> tuple[Int64Array, UInt64Array] | None:
    rows = np.flatnonzero(good & (digits > 16))
    if not len(rows):
        return None
    words = text.gather(places[rows] + 16, 2 * TAIL_WORDS)
    words = (words ^ ZEROS) & _KEEP_TAIL[digits[rows] - 16] ^ ZEROS
    data, bad = hex_bytes(words)
    if bad is not None:
        good[rows[bad]] = False
    return rows, data.view("<u8").astype(np.uint64)


def _fill_names(text: Text, places: Int64Array, lengths: Int64Array, first: UInt64Array, columns: Columns) -> None:
    """Fill in the interface names; lines with a name that is none are no longer done.

    first: the eight characters from `places` on.
    """
    first = first & _KEEP_8.take(lengths, mode="clip")
    second = None
    if (lengths > 8).any():
        second = text.words[places + 8] & _KEEP_8.take(lengths - 8, mode="clip")
    left = columns.done.copy()
    while left.any() and len(columns.names) < MAX_CHANNELS:
        row = int(left.argmax())
        same = left & (first == first[row]) & (lengths == lengths[row])
        if second is not None:
            same &= second == second[row]
        left &= ~same
        name = text.line(int(places[row]), int(places[row] + lengths[row]))
        if _is_plain_name(name):
            columns.name[same] = columns.name_index(name.decode(), row)
        else:
            columns.done[same] = False
    columns.done[left] = False


def _is_plain_name(name: bytes) -> bool:
    """Whether it is all of printable ASCII characters but the space."""
    return name.isascii() and name.decode().isprintable() and b" " not in name
