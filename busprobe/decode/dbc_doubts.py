"""Signals of a DBC text that have the right form but of which it cannot be told how to decode them."""

from __future__ import annotations

import re

from busprobe.decode.dbc_text import FORMS, HEADER, OF_SIGNAL, Statement, places

WIDEST_RANGE = 10_000
"""Multiplexer values in one range that are few enough to be listed one by one, as the parser does."""

FARTHEST = 99_999
"""Bits or bytes in a message that are few enough to be written out one by one, as the parser does."""

_RANGE = re.compile(r"(\d+)\s*-(\d+)")
_MULTIPLEXER = re.compile(r"\s*SG_\s+[^\s:]+\s+\w*M\s*:")


def doubts(original: list[Statement], parts: list[Statement]) -> dict[tuple[int, str], str]:
    """(message number, signal) -> what is wrong with the signal.

    parts: the original statements one by one, those that cannot be read made blank.
    """
    found = _told_elsewhere(original, parts)
    _add_own(found, original, parts)
    return found


def _told_elsewhere(original: list[Statement], parts: list[Statement]) -> dict[tuple[int, str], str]:
    """(message number, signal) -> what is wrong with a statement about the signal outside its message."""
    out = {}
    for before, part in zip(original, parts, strict=True):
        if before.keyword not in ("SIG_VALTYPE_", "SG_MUL_VAL_") or not (match := OF_SIGNAL.match(before.text)):
            continue
        signal = int(match[2]), match[3]
        if not part.keyword:
            out[signal] = f"depends on line {part.line}, which cannot be read"
        elif any(int(high) - int(low) >= WIDEST_RANGE for low, high in _RANGE.findall(part.text)):
            out[signal] = f"is present for more than {WIDEST_RANGE} multiplexer values in one range"
    return out


def _add_own(found: dict[tuple[int, str], str], original: list[Statement], parts: list[Statement]) -> None:
    """Adds what is wrong with the statements of the signals themselves, and with their multiplexers.

    Where a multiplexer is left out, the parser might take another one in its place.
    """
    multiplexed = {m.number for m in places(parts) if any(s.marker.endswith("M") for s in m.signals)}
    lost: set[int] = set()
    selected: list[tuple[int, str]] = []
    number = -1
    for before, part in zip(original, parts, strict=True):
        if before.keyword == "BO_":
            header = HEADER.match(before.text)
            number = int(header[1]) if header else -1
        if before.keyword != "SG_":
            continue
        match = FORMS["SG_"].fullmatch(part.text) if part.keyword else None
        signal = number, match["name"].strip() if match else ""
        if match and (doubt := _doubt(match, number in multiplexed)):
            found[signal] = doubt
        if (match is None or signal in found) and _MULTIPLEXER.match(before.text):
            lost.add(number)
        elif match and (match["marker"] or "").startswith("m"):
            selected.append(signal)
    for signal in selected:
        if signal[0] in lost:
            found.setdefault(signal, "depends on a multiplexer that is left out")


def _doubt(match: re.Match[str], is_multiplexed: bool) -> str:
    """What is wrong with an SG_ statement that has the right form, or empty.

    A mark "m" without a number is passed over in a message of which no signal is marked "M".
    """
    start, length, marker = match["start"], match["length"], (match["marker"] or "").strip()
    if int(length) == 0 or max(int(start), int(length)) > FARTHEST:
        return f"has the start bit {start} and the length {length}"
    if not re.fullmatch(r"M|m\d+M?|" if is_multiplexed else r"m|m\d+|", marker):
        return f'has the unknown multiplexing mark "{marker}"'
    return ""
