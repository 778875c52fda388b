"""What is wrong with the TOML of a bench file, said with a next step.

    on = rises(x)              Texts stand in quotes: on = "rises(x)"
    [check]                    Write [[check]] with two brackets: there may be several.
    keep = { before = "2 s",   What stands between { and } stands on one line.

`tomllib` tells what it could not read and where; TOML 1.0, https://toml.io/en/v1.0.0.
"""

from __future__ import annotations

import re
from pathlib import Path

from busprobe.bench.places import Keys, find_places
from busprobe.errors import BenchError

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_DECLARED_TWICE = re.compile(r"Cannot declare \((.*)\) twice")
_QUOTED = re.compile(r"'([^']*)'")
_LISTED = ("bus", "inputs", "inputs.line", "check", "trigger")
"""Tables of which there may be several."""
_ONE_BRACKET = re.compile(rf"^[ \t]*\[[ \t]*({'|'.join(map(re.escape, _LISTED))})[ \t]*\][ \t]*(?:#.*)?$", re.MULTILINE)
_PAIR = re.compile(r"[ \t]*([^=#]*?)[ \t]*=[ \t]*(.*?)[ \t]*(?:#[^\"']*)?")

_HINTS = (
    ("Expected '=' after a key", 'Write each line as a name, "=" and a value.'),
    ("Unclosed array", 'A list ends with "]".'),
    (
        "Unclosed inline table",
        "What stands between { and } stands on one line, with commas between and texts in quotes.",
    ),
    ("Expected ']'", "A heading stands in brackets: [signals], [[check]]."),
    ("Unescaped '\\'", 'Inside double quotes "\\" has a meaning of its own: put this text in single quotes.'),
    ('Expected "\'"', "A text ends with the quote that it begins with."),
)
"""Start of what `tomllib` says -> what to do."""


def toml_error(text: str, path: Path | None, message: str) -> BenchError:
    """The error for what `tomllib` said of this text; a key given twice is named."""
    place = _PLACE.search(message)
    line, column = (int(n) if n else None for n in place.groups()) if place else (None, None)
    reason = _PLACE.sub("", message)
    if line is None:
        line = text.count("\n") + 1
    if twice := _twice_error(text, path, reason, line, column):
        return twice
    hint = _hint(text.split("\n")[line - 1], column, reason)
    return BenchError(f"This is no valid TOML: {reason}.", path=path, line=line, column=column, hint=hint)


def _twice_error(text: str, path: Path | None, reason: str, line: int, column: int | None) -> BenchError | None:
    """Something stands twice that may stand once only."""
    declared = _DECLARED_TWICE.fullmatch(reason)
    names = tuple(_QUOTED.findall(declared[1])) if declared else ()
    overwrites = reason.startswith(("Cannot overwrite", "Duplicate"))
    if overwrites:
        for keys, first, again in find_places(text, path).repeats:
            return BenchError(f"{_twice(keys)}; the first is on line {first}.", path=path, line=again)
    for single in _ONE_BRACKET.finditer(text) if overwrites or names else ():
        if overwrites or single[1] == ".".join(names):
            number = text.count("\n", 0, single.start()) + 1
            message = f"[{single[1]}] stands in single brackets."
            return BenchError(message, path=path, line=number, hint=_two_brackets(single[1]))
    return BenchError(f"{_twice(names)}.", path=path, line=line, column=column) if names else None


def _two_brackets(name: str) -> str:
    return f"Write [[{name}]] with two brackets: there may be several."


def _twice(keys: Keys) -> str:
    """What stands under these keys is given twice."""
    if keys[:1] == ("signals",) and len(keys) == 2:
        return f'Two signals are named "{keys[1]}"'
    return f'"{keys[-1]}" is given twice'


def _hint(line: str, column: int | None, reason: str) -> str | None:
    """What to do about a line that cannot be read."""
    sign = line[column - 1 : column] if column else ""
    if reason.startswith("Invalid initial character for a key part"):
        return _HINTS[2][1] if not sign else 'No comma stands before "}".' if sign == "}" else None
    for start, hint in _HINTS:
        if reason.startswith(start):
            return hint
    pair = _PAIR.fullmatch(line)
    if pair is None or not reason.startswith(("Invalid value", "Illegal character", "Expected newline")):
        return None
    return _of_value(pair[1], pair[2])


def _of_value(key: str, value: str) -> str | None:
    """How a value is to be written."""
    if not value:
        return f'A value is missing: {key} = "..."'
    if value.lower() in ("true", "false"):
        return f"true and false are written in small letters: {key} = {value.lower()}"
    quote = value[0] if value[0] in "\"'" else ""
    if value[0] in "[{" or "{" in key:
        return "Texts stand in quotes."
    inside = value.removeprefix(quote).removesuffix(quote).replace('"', "'")
    if not quote:
        return f'Texts stand in quotes: {key} = "{inside}"'
    if value.count(quote) > 1 and value.count(quote) % 2:
        return "Inside a text in double quotes use single ones, and end it with a double one."
    if value.count(quote) % 2:
        return f"A text ends with the quote that it begins with: {key} = {value}{quote}"
    return f'Inside a text in double quotes use single ones: {key} = "{inside}"'
