"""The text of a DBC file: where its statements, messages and signals are.

    BO_ 291 BrakeStatus: 8 BodyModule
     SG_ PedalSwitch : 8|2@1+ (1,0) [0|3] "" Controller
    VAL_ 291 PedalSwitch 0 "released" 1 "pressed" 3 "not available" ;

Described by the grammar in cantools, whose parser reads the file in the end. This module
only tells where each statement begins and ends, and where messages and signals are written.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

EXTENDED_MARK = 1 << 31
"""In the number of a BO_ statement: the rest is a 29-bit identifier."""

INDEPENDENT = "VECTOR__INDEPENDENT_SIG_MSG"
"""Name of the message under which a file keeps signals that no frame carries."""

_BEGIN = re.compile(
    r"^[ \t]*(?:(BU_|BS_|NS_)[ \t]*:|(BO_|SG_|VAL_|CM_|BA_|BA_DEF_|BA_DEF_DEF_|BA_REL_|BA_DEF_REL_|BA_DEF_DEF_REL_|"
    r"BO_TX_BU_|EV_|ENVVAR_DATA_|SG_MUL_VAL_|SIG_GROUP_|SIG_VALTYPE_|VAL_TABLE_|VERSION)(?=[ \t]+\S))",
    re.MULTILINE,
)

_N = r"[-+]?\d+\.?\d*(?:[eE][+-]?\d+)?\s*"
_W = r"[A-Za-z_][A-Za-z0-9_]*\b\s*"
_S = r'"(?:\\"|[^"])*"\s*'

# The forms of the statements that decoding rests on, which must be so, and of those that make up much
# of a file. Any other statement, and a comment or attribute of another form, is shown to the parser by itself.
FORMS = {
    "BO_": re.compile(rf"\s*BO_\s+(?P<number>\d+)\s+(?P<name>{_W}):\s*(?P<length>0+|[1-9]\d*)\s+{_W}"),
    "SG_": re.compile(
        rf"\s*SG_\s+(?P<name>{_W})(?P<marker>{_W})?:\s*(?P<start>\d+)\s*\|\s*(?P<length>\d+)\s*@\s*[01]\s*[+-]\s*"
        rf"\(\s*{_N},\s*{_N}\)\s*\[\s*{_N}\|\s*{_N}\]\s*{_S}{_W}(?:,\s*{_W})*"
    ),
    "VAL_": re.compile(rf"\s*VAL_\s+(?:\d+\s+)?{_W}(?:[-+]?\d+\s+{_S})*;\s*"),
    "SIG_VALTYPE_": re.compile(rf"\s*SIG_VALTYPE_\s+\d+\s+{_W}:\s*\d+\s*;\s*"),
    "SG_MUL_VAL_": re.compile(rf"\s*SG_MUL_VAL_\s+\d+\s+{_W}{_W}\d+\s*-\d+\s*(?:,\s*\d+\s*-\d+\s*)*;\s*"),
    "CM_": re.compile(rf"\s*CM_\s+(?:SG_\s+\d+\s+{_W}|BO_\s+\d+\s+|BU_\s+{_W})?{_S};\s*"),
    "BA_": re.compile(rf"\s*BA_\s+{_S}(?:SG_\s+\d+\s+{_W}|BO_\s+\d+\s+|BU_\s+{_W})?(?:{_S}|{_N});\s*"),
    "BO_TX_BU_": re.compile(rf"\s*BO_TX_BU_\s+\d+\s*:\s*{_W}(?:,\s*{_W})*;\s*"),
}
NEEDED = ("BO_", "SG_", "VAL_", "SIG_VALTYPE_", "SG_MUL_VAL_")

HEADER = re.compile(r"\s*BO_\s+(\d+)\b")
"""Beginning of a BO_ statement, whatever the rest."""

OF_SIGNAL = re.compile(r"\s*(VAL_|SIG_VALTYPE_|SG_MUL_VAL_)\s+(\d+)\s+(\w+)")
"""Beginning of a statement about a signal outside its message: keyword, message number, signal."""

MULTIPLEXED = re.compile(r"m\d+M?")
"""Marker of a signal that is present with one value of a multiplexer."""


@dataclass(frozen=True)
class Statement:
    keyword: str
    """Empty for text that belongs to no statement."""
    line: int
    text: str
    """Up to the next statement."""


@dataclass(frozen=True)
class SignalPlace:
    name: str
    line: int
    marker: str
    """What the file says of multiplexing: "M", "m3", "m3M" or nothing; rarely something else."""


@dataclass(frozen=True)
class MessagePlace:
    number: int
    """Identifier, with the mark of a 29-bit one."""
    name: str
    line: int
    signals: list[SignalPlace] = field(default_factory=list)


def statements(text: str) -> Iterator[Statement]:
    """The statements of a DBC text in its order; their texts, joined, are the whole text."""
    found = list(_BEGIN.finditer(text))
    bounds = [*(match.start() for match in found), len(text)]
    if bounds[0]:
        yield Statement("", 1, text[: bounds[0]])
    line, seen = 1, 0
    for match, (begin, end) in zip(found, pairwise(bounds), strict=True):
        line += text.count("\n", seen, begin)
        seen = begin
        keyword, part = match[1] or match[2], text[begin:end]
        first = part.find("\n") + 1
        if keyword in FORMS and part[first:].strip() and FORMS[keyword].fullmatch(part[:first]):
            yield Statement(keyword, line, part[:first])
            yield Statement("", line + 1, part[first:])
        else:
            yield Statement(keyword, line, part)


def places(parts: Sequence[Statement]) -> list[MessagePlace]:
    """The messages and signals of a file, in its order; those of another form are passed over."""
    out: list[MessagePlace] = []
    for part in parts:
        match = FORMS[part.keyword].fullmatch(part.text) if part.keyword in ("BO_", "SG_") else None
        if match is None:
            continue
        name = match["name"].strip()
        if part.keyword == "BO_":
            out.append(MessagePlace(int(match["number"]), name, part.line))
        elif out:
            out[-1].signals.append(SignalPlace(name, part.line, (match["marker"] or "").strip()))
    return out
