"""Diagnostic trouble codes as text (SAE J2012, ISO 15031-6).

Two bytes, high byte first:

    bit    15 14    13 12    11..8   7..4    3..0
           letter   digit    digit   digit   digit      01 33 -> P0133, C1 00 -> U0100
           P C B U  0..3     hex     hex     hex
"""

from __future__ import annotations

LETTERS = "PCBU"
"""Powertrain, chassis, body, network."""
PADDING = 0x0000
"""Stands where there is no code."""


def code_text(code: int) -> str:
    """A 16-bit code as the trade writes it, hex digits in upper case: "P0A1B"."""
    return f"{LETTERS[code >> 14]}{code >> 12 & 3}{code & 0xFFF:03X}"


def code_texts(data: bytes) -> tuple[str, ...]:
    """The codes in `data`, two bytes each, without padding; an odd last byte is left out."""
    codes = (data[k] << 8 | data[k + 1] for k in range(0, len(data) - 1, 2))
    return tuple(code_text(code) for code in codes if code != PADDING)
