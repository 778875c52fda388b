"""Takes out of a DBC text what the parser would refuse the whole file for, and says what and why.

Statements taken out are overwritten with blanks, which keeps every line where it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from busprobe.decode.dbc_doubts import FARTHEST, doubts
from busprobe.decode.dbc_text import (
    EXTENDED_MARK,
    FORMS,
    HEADER,
    INDEPENDENT,
    NEEDED,
    OF_SIGNAL,
    Statement,
    places,
    statements,
)

Refusal = Callable[[str], tuple[int, int] | None]
"""Shows a text to the parser: (line, column) where it stops, or None where it can read all."""

_AT_ONCE = 100
"""Statements shown to the parser together; only where it refuses them is each shown by itself."""

_END = "\nBS_:\n"
"""A statement to follow the last one: a parser at the end of its text overlooks a missing semicolon."""

_IDENTIFIER = re.compile(r"^[ \t]*BO_[ \t]+(\d+)[ \t]", re.MULTILINE)
_SIGNAL = re.compile(r"\s*SG_\s+([^\s:]+)")
_HUGE = re.compile(
    r"^[ \t]*(?:SG_MUL_VAL_[^;]*?\d\s*-\d{5,}|BO_[^\n:]*:\s*\d{6,}|SG_[^\n:]*:\s*(?:\d{6,}|\d+\s*\|\s*\d{6,}))",
    re.MULTILINE,
)
_NUMBER_IN_USE = re.compile(r"\b((?:BO_|SG_|VAL_|SIG_VALTYPE_|SG_MUL_VAL_|SIG_GROUP_|BO_TX_BU_)\s+)(\d+)\b")


@dataclass
class Mended:
    """A text from which bad statements were taken out."""

    text: str
    faults: list[tuple[int, str]]
    """(line, what is wrong there and what was done about it), in the order of the file."""


def needs_mending(text: str) -> bool:
    """Whether the parser need not try: it would refuse an identifier, or write out something huge bit by bit."""
    return _is_huge(text) or any(0x7FF < int(number) < EXTENDED_MARK for number in _IDENTIFIER.findall(text))


def _is_huge(text: str) -> bool:
    """Whether the parser would need seconds and gigabytes for it."""
    return bool(_HUGE.search(text))


def mend(text: str, refusal: Refusal) -> Mended:
    """The text without the statements for which the parser would refuse the whole file."""
    faults: list[tuple[int, str]] = []
    original = _marked(list(statements(text)), faults)
    parts = _possible(original, faults)
    parts = _readable(parts, refusal, faults)
    parts = _without_doubtful_signals(original, parts, faults)
    parts = _without_strays(original, parts, faults)
    return Mended("".join(part.text for part in parts), sorted(faults))


def bare(text: str) -> str:
    """The text with only what decoding rests on."""
    return "".join(part.text if part.keyword in NEEDED else _blank(part).text for part in statements(text))


def _blank(part: Statement) -> Statement:
    return Statement("", part.line, re.sub(r"[^\n]", " ", part.text))


def _short(text: str) -> str:
    """One line of at most 60 characters, for a message."""
    line = " ".join(text.split())
    return line if len(line) <= 60 else line[:57] + "..."


def _readable(parts: list[Statement], refusal: Refusal, faults: list[tuple[int, str]]) -> list[Statement]:
    """Without statements that cannot be read, and without signals whose message cannot, or that have none.

    A signal's message is the one that it follows with nothing else between.
    """
    unusual = [p for p in parts if p.text.strip() and not (p.keyword in FORMS and FORMS[p.keyword].fullmatch(p.text))]
    stops = _stops(unusual, refusal)
    out = []
    owner: str | None = None
    for part in parts:
        stop = stops.get(part.line)
        if part.keyword == "BO_":
            match = FORMS["BO_"].fullmatch(part.text)
            owner = match["name"].strip() if match else ""
        elif part.keyword != "SG_" and part.text.strip() and not stop:
            owner = None
        if part.keyword == "SG_" and not owner:
            out.append(_blank(part))
            if owner is None:
                faults.append((part.line, f'"{_short(part.text)}" does not follow a message; it is left out.'))
            continue
        if stop:
            faults.append(_unreadable(part, owner or "", stop))
        out.append(_blank(part) if stop else part)
    return out


def _stops(parts: list[Statement], refusal: Refusal) -> dict[int, tuple[int, int]]:
    """Line of each statement that the parser does not read -> (line, column) in it where it stops."""
    out = {p.line: _stop(p, refusal) or (1, 1) for p in parts if p.keyword in NEEDED}
    others = [p for p in parts if p.keyword not in NEEDED]
    for begin in range(0, len(others), _AT_ONCE):
        some = others[begin : begin + _AT_ONCE]
        if refusal("".join(p.text for p in some) + _END):
            out |= {p.line: stop for p in some if (stop := _stop(p, refusal))}
    return out


def _stop(part: Statement, refusal: Refusal) -> tuple[int, int] | None:
    """(line, column) in the statement where the parser stops."""
    if _is_huge(part.text):
        return 1, 1
    if part.keyword != "SG_":
        return refusal(part.text + _END)
    stop = refusal("BO_ 1 Message: 8 Node\n" + part.text + _END)
    return (max(stop[0] - 1, 1), stop[1]) if stop else None


def _unreadable(part: Statement, owner: str, stop: tuple[int, int]) -> tuple[int, str]:
    lines = part.text.split("\n")
    line, column = stop
    rest = lines[line - 1][column - 1 :].strip() if line <= len(lines) else ""
    fault = f'cannot be read from "{_short(rest)}" on' if rest else "ends too early"
    if stop == (1, 1):
        fault = "cannot be read"
    whole = f'"{_short(part.text)}" {fault}'
    match part.keyword:
        case "BO_":
            return part.line, f"Message {whole}; it is left out with its signals."
        case "SG_":
            return part.line, f'Message "{owner}": {whole}; the signal is left out.'
        case _:
            return part.line, f"{whole}; it is left out."


def _marked(parts: list[Statement], faults: list[tuple[int, str]]) -> list[Statement]:
    """With the mark of a 29-bit identifier where only that can be meant, wherever the message is named."""
    extended: set[str] = set()
    for part in parts:
        match = FORMS["BO_"].fullmatch(part.text) if part.keyword == "BO_" else None
        if match and 0x7FF < int(match["number"]) < 1 << 29:
            extended.add(match["number"])
            text = f"identifier 0x{int(match['number']):X} has more than 11 bits but no mark of a 29-bit one (bit 31)"
            faults.append((part.line, f'Message "{match["name"].strip()}": {text}; it is used as a 29-bit one.'))
    if not extended:
        return parts

    def marked(match: re.Match[str]) -> str:
        return match[1] + (str(int(match[2]) | EXTENDED_MARK) if match[2] in extended else match[2])

    return [replace(part, text=_NUMBER_IN_USE.sub(marked, part.text)) for part in parts]


def _possible(parts: list[Statement], faults: list[tuple[int, str]]) -> list[Statement]:
    """Without messages that no bus can carry."""
    out = []
    reason = ""
    for part in parts:
        match = FORMS["BO_"].fullmatch(part.text) if part.keyword == "BO_" else None
        if part.keyword == "BO_":
            reason = _impossible(match) if match else ""
        if match and reason:
            faults.append((part.line, f'Message "{match["name"].strip()}": {reason}; the message is left out.'))
        out.append(_blank(part) if reason and part.keyword in ("BO_", "SG_") else part)
    return out


def _impossible(message: re.Match[str]) -> str:
    identifier = int(message["number"]) & ~EXTENDED_MARK
    if identifier >= 1 << 29 and message["name"].strip() != INDEPENDENT:
        return f"identifier 0x{identifier:X} has more than 29 bits"
    if int(message["length"]) > FARTHEST:
        return f"{message['length']} bytes are more than any message has"
    return ""


def _without_doubtful_signals(
    original: list[Statement], parts: list[Statement], faults: list[tuple[int, str]]
) -> list[Statement]:
    """Without signals of which it cannot be told how to decode them."""
    found = doubts(original, parts)
    out = []
    number, name = -1, ""
    for part in parts:
        match = FORMS[part.keyword].fullmatch(part.text) if part.keyword in ("BO_", "SG_") else None
        if match and part.keyword == "BO_":
            number, name = int(match["number"]), match["name"].strip()
        doubt = found.get((number, match["name"].strip())) if match and part.keyword == "SG_" else None
        if match and doubt:
            text = f'Message "{name}": signal "{match["name"].strip()}" {doubt}; the signal is left out.'
            faults.append((part.line, text))
        out.append(_blank(part) if doubt else part)
    return out


def _without_strays(
    original: list[Statement], parts: list[Statement], faults: list[tuple[int, str]]
) -> list[Statement]:
    """Without labels, kinds and multiplexing of signals that are not in the file, or no more.

    Only the former are worth a word.
    """
    have = {(m.number, s.name) for m in places(parts) if m.name != INDEPENDENT for s in m.signals}
    written = _written(original)
    out = []
    for part in parts:
        match = OF_SIGNAL.match(part.text) if part.keyword in NEEDED else None
        if match is None or (int(match[2]), match[3]) in have:
            out.append(part)
            continue
        out.append(_blank(part))
        if (int(match[2]), match[3]) not in written:
            text = f'{match[1]} names the signal "{match[3]}" of message {match[2]}, which is not in the database'
            faults.append((part.line, text + "; the line is left out."))
    return out


def _written(parts: list[Statement]) -> set[tuple[int, str]]:
    """(message number, signal) of all signals that the file writes down, readable or not."""
    out = set()
    number = -1
    for part in parts:
        if part.keyword == "BO_":
            header = HEADER.match(part.text)
            number = int(header[1]) if header else -1
        elif part.keyword == "SG_" and (signal := _SIGNAL.match(part.text)):
            out.add((number, signal[1]))
    return out
