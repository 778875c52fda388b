"""Text files that a person asks for: none that is there already is written over."""

from __future__ import annotations

import os.path
from itertools import chain, count
from pathlib import Path


def free_name(path: Path) -> Path:
    """The path, or the next one that is free: "row.txt", "row-2.txt", "row-3.txt"."""
    others = (path.with_name(f"{path.stem}-{number}{path.suffix}") for number in count(2))
    return next(one for one in chain([path], others) if not os.path.lexists(one))


def write_new(path: Path, text: str) -> str:
    """Write a file that is not there yet, UTF-8. Returns why it was not written; empty: it was."""
    try:
        with path.open("x", encoding="utf-8") as file:
            try:
                file.write(text)
                file.flush()
            except OSError:
                path.unlink()
                raise
    except FileExistsError:
        return f'"{path}" is there already. Choose another name.'
    except OSError as error:
        return f"{path}: {error.strerror or error}. Choose another file."
    return ""
