"""What can go wrong, said so that the user knows where and what to do next."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path


class BusprobeError(Exception):
    """An error with a place and a next step; `str()` is the text shown to the user.

    message: one sentence in the words of the glossary, values in double quotes.
    path, line, column: where, each only if known (line and column count from 1).
    hint: what to do next, a sentence of its own.
    """

    def __init__(
        self,
        message: str,
        *,
        path: str | Path | None = None,
        line: int | None = None,
        column: int | None = None,
        hint: str | None = None,
    ) -> None:
        self.message = message
        self.path = path
        self.line = line
        self.column = column
        self.hint = hint
        super().__init__(message)

    def __str__(self) -> str:
        text = place(self.path, self.line, self.column) + self.message
        return f"{text}\n{self.hint}" if self.hint else text


class OpenError(BusprobeError):
    """Choose another file or port."""


class FormatError(BusprobeError):
    """The file is damaged at the place named."""


class DatabaseError(BusprobeError):
    """Mend the signal database."""


class BenchError(BusprobeError):
    """Mend the bench file."""


class DeviceError(BusprobeError):
    """Plug in, give permission, install a driver."""


def said(error: Exception) -> str:
    """Why something ended that should have gone on; what nobody foresaw is named as a fault of busprobe's own."""
    if isinstance(error, BusprobeError):
        return str(error)
    if isinstance(error, OSError) and error.strerror:
        return f"{error.strerror}."
    words = " ".join(str(error).split())
    return f"a fault in busprobe itself, {type(error).__name__}{': ' if words else ''}{words.rstrip('.')}."


def place(path: str | Path | None, line: int | None = None, column: int | None = None) -> str:
    """`file, line 3, column 7: ` as far as known; empty where nothing is."""
    parts = []
    if path is not None:
        parts.append(str(path))
    if line is not None:
        parts.append(f"line {line}")
    if column is not None:
        parts.append(f"column {column}")
    return ", ".join(parts) + ": " if parts else ""


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint with the closest known name, or empty: ` Nearest known name: "gear".`"""
    close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.5)
    return f' Nearest known name: "{close[0]}".' if close else ""


def counted(number: int, noun: str) -> str:
    """A count and its noun: "1 frame", "1,234 frames"."""
    return f"{number:,} {noun}" + ("" if number == 1 else "s")


@dataclass(frozen=True)
class Problem:
    """Something in the input that was skipped or could be used only in part."""

    message: str
    """One sentence, values found in double quotes."""
    path: str | Path | None = None
    line: int | None = None

    def __str__(self) -> str:
        return place(self.path, self.line) + self.message


@dataclass
class Problems:
    """Collects problems; a strict one raises the first as a `FormatError` instead.

    Readers call `add` and go on; they never choose between raising and skipping.
    The first `keep` problems are kept in full, all are counted.
    """

    strict: bool = False
    keep: int = 1000
    count: int = 0
    items: list[Problem] = field(default_factory=list)

    def add(self, message: str, *, path: str | Path | None = None, line: int | None = None) -> None:
        if self.strict:
            raise FormatError(message, path=path, line=line, hint="Stopped here because of --strict.")
        self.count += 1
        if len(self.items) < self.keep:
            self.items.append(Problem(message, path, line))
