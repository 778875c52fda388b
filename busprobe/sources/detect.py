"""Which format a file is of: by its content first, then by its suffix."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from busprobe.errors import OpenError, nearest
from busprobe.sources import FORMATS
from busprobe.sources.formats import Format

HEAD_BYTES = 4096
SHOWN_BYTES = 8


def detect(path: Path, also_read: Sequence[str] = (), formats: Sequence[Format] = FORMATS) -> Format:
    """The format that claims the start of the file; where several do, the one with its suffix.

    also_read: names of what else can be opened, for the hint: "busprobe recording (.duckdb)".
    Raises OpenError where the file cannot be read or no format, or more than one, fits.
    """
    head = _head(path)
    claimants = [f for f in formats if f.looks_like(head)]
    if len(claimants) > 1:
        claimants = [f for f in claimants if path.suffix.lower() in f.suffixes] or claimants
    if len(claimants) == 1:
        return claimants[0]
    if claimants:
        names = " and ".join(f.name for f in claimants)
        raise OpenError(f"the file reads as {names}.", path=path, hint="Give it the suffix of its format.")
    raise OpenError(
        f'this is not a recording that busprobe can read: it starts with "{_start(head)}".',
        path=path,
        hint=f"Expected one of: {', '.join([*map(_title, formats), *also_read])}.",
    )


def _title(entry: Format) -> str:
    return f"{entry.name} ({', '.join(entry.suffixes)})"


def _head(path: Path) -> bytes:
    """The first bytes of a file that is there, is a file and is not empty."""
    try:
        if path.is_dir():
            raise OpenError("this is a folder, not a recording.", path=path, hint="Name a file in it.")
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except OSError as error:
        raise cannot_open(path, error) from error
    if not head:
        raise OpenError("the file is empty.", path=path, hint="Record it again, or choose another file.")
    return head


def cannot_open(path: Path, error: OSError) -> OpenError:
    """What the operating system said of a file, for the user."""
    if isinstance(error, FileNotFoundError):
        siblings = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
        hint = f"Check the name and the folder.{nearest(path.name, siblings)}"
        return OpenError("there is no such file.", path=path, hint=hint)
    if isinstance(error, PermissionError):
        return OpenError(
            "you may not read this file.",
            path=path,
            hint="Ask its owner for permission to read it, or copy it to a folder of your own.",
        )
    return OpenError(f"the file cannot be read: {error.strerror}.", path=path, hint="Choose another file.")


def _start(head: bytes) -> str:
    """The first characters, others than printable ASCII ones as \\x00."""
    return "".join(chr(b) if 0x20 <= b < 0x7F else f"\\x{b:02x}" for b in head[:SHOWN_BYTES])
