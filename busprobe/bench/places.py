"""Where in the text of a bench file each key and value stands.

    [[check]]                                      ("check", 0)          line 1
    when = "gear == 'R'"                           ("check", 0, "when")  line 2, column 9
    keep = { before = "2 s", after = "5 s" }       ("check", 0, "keep", "after")  line 3, column 35

TOML 1.0, https://toml.io/en/v1.0.0. The text has been read by `tomllib`, so this scan
only follows it; on anything else it stops where it loses its way and keeps what it has.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass, field
from pathlib import Path

from busprobe.bench.model import Origin

Keys = tuple[str | int, ...]
"""Keys and list indexes that lead to a value, from the top."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY = re.compile(r"""[ \t]*("(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[A-Za-z0-9_-]+)[ \t]*""")
_STRING = re.compile(
    "|".join((r'"""(?:[^\\]|\\.)*?"{3,5}', r"'''.*?'{3,5}", r'"(?:[^"\\\n]|\\.)*"', r"'[^'\n]*'")), re.DOTALL
)
_SCALAR = re.compile(r"[^,\]}#\n]+")


@dataclass
class Places:
    """Line and column of every key and value of one bench file."""

    path: Path | None = None
    keys: dict[Keys, tuple[int, int]] = field(default_factory=dict)
    values: dict[Keys, tuple[int, int | None]] = field(default_factory=dict)
    """Of a text: its first character inside the quotes; no column where it holds escapes."""
    repeats: list[tuple[Keys, int, int]] = field(default_factory=list)
    """Keys that stand twice in one table, with both lines."""

    def of_value(self, keys: Keys) -> Origin:
        """Place of a value, else of what holds it."""
        while keys and keys not in self.values:
            keys = keys[:-1]
        return Origin(self.path, *self.values.get(keys, (None, None)))

    def of_key(self, keys: Keys) -> Origin:
        """Place of a key, else of what holds it."""
        if keys in self.keys:
            return Origin(self.path, *self.keys[keys])
        return self.of_value(keys)


def find_places(text: str, path: Path | None = None) -> Places:
    """The places of everything in a bench file; `text` has "\\n" line ends."""
    scan = _Scan(text, Places(path))
    scan.document()
    return scan.places


class _Scan:
    """One pass over the text; `at` is the next character."""

    def __init__(self, text: str, places: Places) -> None:
        self.text = text
        self.places = places
        self.at = 0
        self.line_starts = [0, *(m.end() for m in re.finditer("\n", text))]
        self.tables_of: dict[Keys, int] = {}

    def document(self) -> None:
        table: Keys = ()
        while self.peek():
            if self.text[self.at] != "[":
                if not self.pair(table):
                    return
                continue
            header, brackets = self.at, 2 if self.text.startswith("[[", self.at) else 1
            self.at += brackets
            names = self.dotted()
            if not names or not self.take("]" * brackets):
                return
            table = self.table(names, header, is_list=brackets == 2)

    def table(self, names: list[tuple[str, int]], header: int, *, is_list: bool) -> Keys:
        """Keys of the table that a header opens; a list of tables gets one more entry."""
        keys: Keys = ()
        for number, (name, at) in enumerate(names, 1):
            keys += (name,)
            self.places.keys.setdefault(keys, self.place(at))
            self.places.values.setdefault(keys, self.place(header))
            if is_list and number == len(names):
                self.tables_of[keys] = self.tables_of.get(keys, 0) + 1
            if keys in self.tables_of:
                keys += (self.tables_of[keys] - 1,)
        self.places.values.setdefault(keys, self.place(header))
        return keys

    def pair(self, table: Keys) -> bool:
        """`key = value`; False where there is none."""
        names = self.dotted()
        if not names or not self.take("="):
            return False
        keys = table
        for name, at in names:
            keys += (name,)
            if keys in self.places.values and (name, at) == names[-1]:
                self.places.repeats.append((keys, self.places.keys[keys][0], self.place(at)[0]))
            self.places.keys.setdefault(keys, self.place(at))
        return self.value(keys)

    def value(self, keys: Keys) -> bool:
        first = self.peek()
        if string := _STRING.match(self.text, self.at):
            self.places.values.setdefault(keys, self.inside(string[0]))
            self.at = string.end()
            return True
        self.places.values.setdefault(keys, self.place(self.at))
        if first in "[{" and first:
            return self.several(keys, "]" if first == "[" else "}")
        scalar = _SCALAR.match(self.text, self.at)
        self.at = scalar.end() if scalar else self.at
        return scalar is not None

    def several(self, keys: Keys, end: str) -> bool:
        """The items of a list or inline table, up to its closing bracket."""
        self.at += 1
        number = 0
        while not self.take(end):
            if not (self.value((*keys, number)) if end == "]" else self.pair(keys)):
                return False
            number += 1
            if not self.take(",") and self.peek() != end:
                return False
        return True

    def dotted(self) -> list[tuple[str, int]]:
        """The parts of a key and where each stands."""
        parts: list[tuple[str, int]] = []
        while key := _KEY.match(self.text, self.at):
            name = key[1][1:-1] if key[1][0] in "\"'" else key[1]
            parts.append((name, key.start(1)))
            self.at = key.end()
            if not self.text.startswith(".", self.at):
                break
            self.at += 1
        return parts

    def inside(self, string: str) -> tuple[int, int | None]:
        """Place of a text's first character; escapes move the columns, so then there is none."""
        quotes = 3 if string[:3] in ('"""', "'''") else 1
        start = self.at + quotes + (string[quotes : quotes + 1] == "\n")
        line, column = self.place(start)
        has_escapes = string[0] == '"' and "\\" in string
        return line, None if has_escapes else column

    def place(self, at: int) -> tuple[int, int]:
        line = bisect_right(self.line_starts, at)
        return line, at - self.line_starts[line - 1] + 1

    def peek(self) -> str:
        """Next character after blanks and comments; empty at the end."""
        blank = _BLANK.match(self.text, self.at)
        self.at = blank.end() if blank else self.at
        return self.text[self.at : self.at + 1]

    def take(self, sign: str) -> bool:
        """Step over `sign` if it comes next."""
        self.peek()
        found = self.text.startswith(sign, self.at)
        self.at += len(sign) if found else 0
        return found
