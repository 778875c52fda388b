"""What was opened lately: a small JSON file in the user's state folder."""

from __future__ import annotations

import json
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

MOST = 12
"""Entries kept."""


class Opened(NamedTuple):
    """Something to open: a recording, or a live vehicle by its bench file."""

    recording: Path | None
    """None: live."""
    bench: Path | None


def state_folder() -> Path:
    """Where a program keeps what it may forget, by the custom of each system."""
    if sys.platform == "win32":
        root = os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local"
    elif sys.platform == "darwin":
        root = Path.home() / "Library" / "Application Support"
    else:
        root = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(root) / "busprobe"


def recent(folder: Path | None = None) -> list[Opened]:
    """Newest first; nothing where the file is missing or damaged."""
    try:
        entries = json.loads(_file(folder).read_text(encoding="utf-8"))
        return [Opened(_path(entry["recording"]), _path(entry["bench"])) for entry in entries]
    except (OSError, ValueError, TypeError, KeyError):
        return []


def remember(opened: Opened, folder: Path | None = None) -> None:
    """Put one in front. A folder that cannot be written is no reason to stop."""
    full = Opened(*(None if path is None else path.absolute() for path in opened))
    kept = [full, *(other for other in recent(folder) if other != full)][:MOST]
    entries = [{name: None if path is None else str(path) for name, path in one._asdict().items()} for one in kept]
    with suppress(OSError):
        _file(folder).parent.mkdir(parents=True, exist_ok=True)
        _file(folder).write_text(json.dumps(entries, indent=1), encoding="utf-8")


def _file(folder: Path | None) -> Path:
    return (folder or state_folder()) / "recent.json"


def _path(text: object) -> Path | None:
    if text is None:
        return None
    if not isinstance(text, str):
        raise TypeError(text)
    return Path(text)
