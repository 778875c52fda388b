"""The bench file and databases that a recording holds, for opening it without any other file.

bench file         its own name
each database      its own name, with a number where two in different folders have the same
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from busprobe.bench.load import load
from busprobe.bench.model import Bench, Bus
from busprobe.decode.layout import Database
from busprobe.engine.plan import Plan
from busprobe.errors import Problems
from busprobe.session.incomplete import plan_of_what_is_there

_ABSENT = """\
The database "{name}" could not be read when this was recorded.
Where it is at hand now, give the bench file with --bench."""


def enclosed_texts(bench: Bench, text_of: Mapping[Path, str]) -> dict[str, str]:
    """What a recording of this bench holds: name -> text. text_of: of each database file."""
    name = bench.path.name if bench.path is not None else "bench.toml"
    return {name: bench.text} | {n: text_of[path] for path, n in _names(bench.buses).items() if path in text_of}


def enclosed_plan(texts: Mapping[str, str], problems: Problems) -> tuple[Plan, Mapping[str, Sequence[Database]]] | None:
    """The plan in a recording's `bench` texts (name -> text); None where it holds no bench file.

    problems: told of databases that were missing when it was recorded. Raises BusprobeError where
    the bench file cannot be used.
    """
    name = next((n for n in texts if n.endswith(".toml")), None)
    if name is None:
        return None
    with tempfile.TemporaryDirectory(prefix="busprobe-") as folder:
        for other, text in texts.items():
            Path(folder, Path(other).name).write_text(text, encoding="utf-8")
        bench = load(Path(folder, Path(name).name))
        # Wherever the databases lay, they are beside the bench file now.
        names = _names(bench.buses)
        beside = [replace(bus, databases=tuple(Path(folder, names[p]) for p in bus.databases)) for bus in bench.buses]
        absent = {Path(folder, n): _ABSENT.format(name=n) for n in names.values() if Path(n).name not in texts}
        return plan_of_what_is_there(replace(bench, buses=tuple(beside)), problems, absent)


def _names(buses: Sequence[Bus]) -> dict[Path, str]:
    """A name of its own for each database file, in the order of the bench file."""
    names: dict[Path, str] = {}
    for path in (p for bus in buses for p in bus.databases):
        number, name = 2, path.name
        while path not in names and name in names.values():
            number, name = number + 1, f"{path.stem} {number}{path.suffix}"
        names.setdefault(path, name)
    return names
