"""Refuses to write over a file that the same command reads, or writes something else to."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from busprobe.bench.load import load
from busprobe.errors import OpenError

RECORDING, BENCH = "the recording", "--bench"


def refuse_same_file(writes: Mapping[str, Path | None], reads: Mapping[str, Path | None], bench: Path | None) -> None:
    """Raise OpenError where a file would be written over that is read too, or that is written to already.

    writes, reads: by what messages call it, such as "--json", the file or None. bench: the bench
    file, which is read too, and the databases that it names. A recording goes with the file
    `.wal` beside it.
    """
    wanted = {name: path for name, path in writes.items() if path is not None}
    if not wanted:
        return
    taken = [(name, path) for name, path in reads.items() if path is not None]
    if bench is not None:
        taken.append((BENCH, bench))
        # A bench file that is not there is told by the command itself.
        if bench.is_file():
            databases = [file for bus in load(bench).buses for file in bus.databases]
            taken += [("a database of the bench file", file) for file in databases]
    for name, path in wanted.items():
        for other, there in taken:
            if _same(path, there) or _same(path, there.with_name(f"{there.name}.wal")):
                raise OpenError(
                    f"{name} would write over {'what ' + other + ' names' if other[0] == '-' else other}.",
                    path=path,
                    hint=f"Give {name} another name.",
                )
        taken.append((name, path))


def _same(one: Path, other: Path) -> bool:
    """Whether two paths are one file, under whatever names."""
    try:
        return one.samefile(other)
    except OSError:
        return one.resolve() == other.resolve()
