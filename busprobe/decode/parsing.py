"""Database text through cantools: its messages, with the lines that they are written in."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

from busprobe.decode.dbc_mending import bare, mend, needs_mending
from busprobe.decode.dbc_text import INDEPENDENT, MessagePlace, places, statements

if TYPE_CHECKING:
    from cantools.database.can import Message

# cantools logs every message whose name or identifier another one has; here that is a problem.
logging.getLogger("cantools").addHandler(logging.NullHandler())


class RefusedError(Exception):
    """cantools does not read the text; line and column (from 1) where it stops, if it says so."""

    def __init__(self, reason: str, line: int | None = None, column: int | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.line = line
        self.column = column


@dataclass(frozen=True)
class Parsed:
    """What cantools makes of a database, nothing judged yet."""

    messages: list[Message]
    """In the order of the file, signals too."""
    places: list[MessagePlace | None]
    """Where each message is written, if known."""
    faults: list[tuple[int, str]]
    """(line, what was left out of the text, and why)."""


def parse(text: str, kind: str) -> Parsed:
    """kind: "dbc", "kcd", "sym" or "arxml". Raises RefusedError where nothing can be read."""
    if kind == "dbc":
        return _parse_dbc(text)
    messages = _messages(text, kind)
    return Parsed(messages, [None] * len(messages), [])


def _messages(text: str, kind: str) -> list[Message]:
    from cantools.database import can, load_string
    from cantools.database.errors import UnsupportedDatabaseFormatError

    if not text.strip():
        return []
    try:
        found = load_string(text, kind, strict=False, sort_signals=None)
    except UnsupportedDatabaseFormatError as error:
        cause = error.__cause__ or error
        line, column = getattr(cause, "line", None), getattr(cause, "column", None)
        reason = " ".join(str(cause).split()).rstrip(".")
        if line is not None and column is not None:
            reason = f"its syntax is broken at column {column}"
        raise RefusedError(reason, line, column) from error
    return list(found.messages) if isinstance(found, can.Database) else []


def _stop(text: str) -> tuple[int, int] | None:
    """(line, column) where the grammar of a DBC text is broken."""
    try:
        _messages(text, "dbc")
    except RefusedError as refused:
        if refused.line is not None and refused.column is not None:
            return refused.line, refused.column
    return None


def _parse_dbc(text: str) -> Parsed:
    """The messages of a DBC file; where it is refused, without what it is refused for."""
    found: list[tuple[int, str]] = []
    try:
        if needs_mending(text):
            raise RefusedError("not tried")
        messages = _messages(text, "dbc")
    except RefusedError:
        mended = mend(text, _stop)
        text, found = mended.text, mended.faults
        try:
            messages = _messages(text, "dbc")
        except RefusedError as refused:
            text = bare(text)
            messages = _messages(text, "dbc")
            rest = "only messages, signals and labels are used, without cycle times and other attributes"
            found.append((refused.line or 1, f"The file cannot be read as a whole ({refused.reason}); {rest}."))
    written = [m for m in places(list(statements(text))) if m.name != INDEPENDENT]
    if [len(m.signals) for m in written] != [len(m.signals) for m in messages]:
        return Parsed(messages, [None] * len(messages), found)
    return Parsed(messages, [*written], found)
