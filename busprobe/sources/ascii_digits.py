"""Many numbers written in ASCII, read at once: eight characters are one 64-bit word.

The first character of a word is its lowest byte (`<u8`). Decimal digits are put together in
three steps, pairs first, every lane of the word at the same time:

    1 4 3 6 5 0 9 0  ->  14 . 36 . 50 . 90  ->  1436 . . . 5090  ->  14365090
"""

from __future__ import annotations

import binascii

import numpy as np

from busprobe.frames import BoolArray, UInt8Array, UInt64Array

ZEROS = np.uint64(0x3030303030303030)
"""The text "00000000"."""

_ABOVE_NINE = np.uint64(0x7676767676767676)
_HIGH_BITS = np.uint64(0x8080808080808080)
_PAIRS = np.uint64(0x00FF00FF00FF00FF)
_FOURS = np.uint64(0x0000FFFF0000FFFF)
_EIGHT = np.uint64(0x00000000FFFFFFFF)

HEX_VALUE = np.full(256, 255, np.uint8)
"""Value of a hex digit, 255 for any other character."""
for _value, _character in enumerate(b"0123456789abcdef"):
    HEX_VALUE[[_character, ord(chr(_character).upper())]] = _value


def keep_first(words: int) -> UInt64Array:
    """(8 * words + 1, words) masks: row k keeps the first k characters of `words` words."""
    keep = np.arange(8 * words) < np.arange(8 * words + 1)[:, None]
    return np.where(keep, np.uint8(255), np.uint8(0)).view("<u8").astype(np.uint64)


def decimal(words: UInt64Array) -> tuple[UInt64Array, BoolArray]:
    """Value of eight decimal digits a word, and whether all eight are digits."""
    x = words ^ ZEROS
    digits = ((x + _ABOVE_NINE) | x) & _HIGH_BITS == 0
    x = (x * np.uint64(10) + (x >> np.uint64(8))) & _PAIRS
    x = (x * np.uint64(100) + (x >> np.uint64(16))) & _FOURS
    return (x * np.uint64(10_000) + (x >> np.uint64(32))) & _EIGHT, digits


def hex_bytes(words: UInt64Array) -> tuple[UInt8Array, BoolArray | None]:
    """Bytes written as hex digits.

    words: (n, k), contiguous; rows with other characters are overwritten with zeros.
    Returns (n, 4 * k) bytes, and which rows had other characters (None: no row).
    """
    width = 4 * words.shape[1]
    try:
        return np.frombuffer(binascii.unhexlify(words.data), np.uint8).reshape(-1, width), None
    except binascii.Error:
        bad = (HEX_VALUE[words.view(np.uint8)] == 255).any(axis=1)
        words[bad] = ZEROS
        return np.frombuffer(binascii.unhexlify(words.data), np.uint8).reshape(-1, width), bad
