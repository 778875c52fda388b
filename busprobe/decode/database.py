"""Reads a signal database: DBC, and whatever else cantools loads (KCD, SYM, ARXML).

The sound part of a faulty file is used. A message or signal that cannot be used as the file
describes it is left out, and a problem with its line says why.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from busprobe.decode.conversion import message_layout
from busprobe.decode.layout import Database, MessageLayout
from busprobe.decode.parsing import Parsed, RefusedError, parse
from busprobe.errors import DatabaseError, OpenError, Problem, Problems, nearest

if TYPE_CHECKING:
    from cantools.database.can import Message

_XML_SIGNS = (("AUTOSAR", "arxml"), ("NetworkDefinition", "kcd"), ("CANDELA", "cdd"))
_DBC_SIGN = re.compile(r'^[ \t]*(?:BO_[ \t]+\d|(?:VERSION|CM_)[ \t]+"|(?:NS_|BS_|BU_)[ \t]*:)', re.MULTILINE)
_SYM_SIGN = re.compile(r"^FormatVersion[ \t]*=", re.MULTILINE)


def load(path: Path, problems: Problems | None = None) -> Database:
    """The messages of a database file that can be used, in its order.

    problems: told of everything left out; `faulty` of the result says the same. Raises OpenError
    where the file cannot be opened, DatabaseError where it is no database or nothing in it can be used.
    """
    text = read_text(path)
    kind = _kind(text)
    if kind == "cdd":
        raise DatabaseError("This file describes diagnostic services, not the messages of a bus.", path=path)
    if kind is None:
        hint = "Databases in DBC, KCD, SYM and ARXML format can be used."
        raise DatabaseError("This is not a signal database.", path=path, hint=hint)
    try:
        database = _judged(path, parse(text, kind))
    except RefusedError as refused:
        message = f"The {kind.upper()} database cannot be read: {refused.reason}."
        raise DatabaseError(message, path=path, line=refused.line) from refused
    if not database.messages:
        found = database.faulty
        first = f"First of {len(found)} problem{'s' * (len(found) > 1)}: {found[0]}" if found else None
        raise DatabaseError("The database has no message that can be used.", path=path, hint=first)
    if problems is not None:
        for problem in database.faulty:
            problems.add(problem.message, path=problem.path, line=problem.line)
    return database


def read_text(path: Path) -> str:
    """The text of the file: UTF-8, UTF-16 with its mark, else Windows-1252; lines end with a line feed."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        siblings = [p.name for p in path.parent.glob("*") if p.suffix.lower() == path.suffix.lower()]
        hint = f"Check the name and the folder.{nearest(path.name, siblings)}"
        raise OpenError("There is no such database file.", path=path, hint=hint) from None
    except IsADirectoryError:
        raise OpenError("This is a directory, not a database file.", path=path) from None
    except OSError as error:
        raise OpenError(f"The database file cannot be opened: {error.strerror}.", path=path) from error
    if not data.strip():
        raise OpenError("The database file is empty.", path=path)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", errors="replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _kind(text: str) -> str | None:
    """Format of a database, by its content."""
    head = text.lstrip()[:4096]
    if head.startswith("<"):
        return next((kind for sign, kind in _XML_SIGNS if sign in head), None)
    if _SYM_SIGN.search(head):
        return "sym"
    return "dbc" if _DBC_SIGN.search(text) else None


def _judged(path: Path, parsed: Parsed) -> Database:
    """Every message that can be used, without the signals that cannot."""
    kept: dict[str, MessageLayout] = {}
    names: dict[tuple[int, bool], str] = {}
    found = [Problem(text, path, line) for line, text in parsed.faults]
    for message, place in zip(parsed.messages, parsed.places, strict=True):
        line = place.line if place else None
        reason = _unusable(message, kept, names)
        if reason:
            found.append(Problem(f'Message "{message.name}" {reason}; it is left out.', path, line))
            continue
        kept[message.name], wrong = message_layout(message, place)
        names[message.frame_id, message.is_extended_frame] = message.name
        lines = {s.name: p.line for s, p in zip(message.signals, place.signals, strict=True)} if place else {}
        for fault in wrong:
            result = "they are left out" if len(fault.names) > 1 else "the signal is left out"
            text = f'Message "{message.name}": {fault.text}; {result}.'
            found.append(Problem(text, path, lines.get(fault.names[0], line)))
    return Database(path, tuple(kept.values()), tuple(sorted(found, key=lambda p: p.line or 0)))


def _unusable(message: Message, kept: dict[str, MessageLayout], names: dict[tuple[int, bool], str]) -> str:
    """Why the whole message cannot be used beside the earlier ones, or empty."""
    if message.is_container:
        return "is a container of other messages, which cannot be decoded"
    if message.name in kept:
        return "has the name of an earlier message"
    other = names.get((message.frame_id, message.is_extended_frame))
    return f'has the identifier 0x{message.frame_id:X} of message "{other}"' if other else ""
