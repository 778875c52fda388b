"""Which names a bench file may give to its signals, buses, input boxes and lines."""

from __future__ import annotations

import keyword
import re
import unicodedata

from busprobe.bench.syntax import FUNCTIONS

PID = re.compile(r"[0-9A-Fa-f]{2}")
"""A PID as the bench file writes it."""


def name_fault(name: str, kind: str) -> str | None:
    """Why `name` cannot name a `kind` ("signal", "bus" ...), as a sentence; None if it can."""
    start = f'"{name}" cannot be the name of {"an" if kind[0] in "aeiou" else "a"} {kind}: '
    if name == "obd":
        return start + "it stands for the answers of the diagnostic connector."
    if keyword.iskeyword(name):
        return start + "it is a word of Python, whose grammar expressions use."
    if name in FUNCTIONS:
        return start + "it is a function of expressions."
    if not name.isidentifier() or unicodedata.normalize("NFKC", name) != name:
        return start + 'use letters, digits and "_" only, and no digit first.'
    return None
