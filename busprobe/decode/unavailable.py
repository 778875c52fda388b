"""Raw values that stand for "not available" or "error": the signal is then unknown, never true.

Three things tell them: the labels of a database, the codes of J1939 (SAE J1939-71, from memory:
the highest two patterns of 2, 4 and 8 bits, from FE00 up in 16 bits, from FE000000 up in 32), and
what a bench file adds.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

# Common practice, no source: how databases name such values. Labels are compared whole, without
# regard to case, punctuation, a number at the end and a beginning that all labels of the signal
# share, so that "GEAR_SNA" counts and "System error" or "No error", which are states, do not.
# A value named as unused or reserved carries no meaning, so nothing may be concluded from it.
_PHRASES = frozenset(
    {
        "not available", "notavailable", "unavailable", "not avail", "n a", "na", "sna", "signal not available",
        "error", "err", "error indicator", "error indication", "error value", "signal error",
        "invalid", "not valid", "invalid value", "invalid signal", "signal invalid",
        "undefined", "not defined", "unknown", "no data", "no signal",
        "reserved", "not used", "notused", "unused",
        "fehler", "fehlerwert", "ungültig", "ungueltig", "nicht verfügbar", "nicht verfuegbar",
        "reserviert", "nicht definiert", "nicht belegt", "nicht verwendet", "undefiniert",
    }
)  # fmt: skip

_J1939_FROM = {2: 0x2, 4: 0xE, 8: 0xFE, 16: 0xFE00, 32: 0xFE000000}


def named_unavailable(choices: Mapping[int, str], length: int) -> tuple[int, ...]:
    """Raw values that their labels name as not available, as an error or as without meaning.

    A signal of one bit has no room for such a code: "Error" is then one of its two states.
    """
    if length < 2:
        return ()
    shared = _shared_beginning(list(choices.values()))
    return tuple(raw for raw, label in sorted(choices.items()) if _says_unavailable(label[shared:]))


def j1939_unavailable_from(choices: Mapping[int, str], length: int) -> int | None:
    """First raw value of a J1939 signal that means "error" or "not available", if its size has one.

    None where the database gives a value up there a meaning of its own.
    """
    first = _J1939_FROM.get(length)
    if first is None:
        return None
    named = {raw for raw in choices if raw >= first}
    return None if named - set(named_unavailable(choices, length)) else first


def _says_unavailable(label: str) -> bool:
    parts = re.split(r"/|\bor\b|\band\b", re.sub(r"[_\s]+", " ", label.lower()))
    return all(_plain(part) in _PHRASES for part in parts) or _plain(label.lower()) in _PHRASES


def _plain(label: str) -> str:
    """Words alone, without the number at the end."""
    return re.sub(r"[\W_]+", " ", label).strip().rstrip("0123456789").strip()


def _shared_beginning(labels: list[str]) -> int:
    """Length of the beginning, up to an underscore, that all labels share; 0 for a single label."""
    if len(labels) < 2:
        return 0
    first, last = min(labels), max(labels)
    same = next((i for i, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), len(first))
    return first.rfind("_", 0, same) + 1
