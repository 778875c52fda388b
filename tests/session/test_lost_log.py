"""A recording whose process was killed, copied without the log beside it."""

import shutil
from pathlib import Path

import pytest

from busprobe.errors import OpenError, Problems
from busprobe.frames import Condition, SourceState, StateBatch
from busprobe.recording.write import RecordingWriter
from busprobe.session.opening import open_source
from busprobe.session.surveying import survey

START_NS = 1_768_374_000_000_000_000


def killed(folder: Path) -> Path:
    """A recording as a process leaves it that was killed in its first seconds."""
    path, left = folder / "van.duckdb", folder / "left.duckdb"
    with RecordingWriter(path, about={"start_ns": str(START_NS)}, bench={}) as writer:
        writer.add(StateBatch((SourceState(START_NS, "body", Condition.UP, ""),), START_NS))
        writer.commit()
        for suffix in ("", ".wal"):
            shutil.copy(f"{path}{suffix}", f"{left}{suffix}")
    return left


def test_with_its_log_it_is_used(tmp_path: Path) -> None:
    open_source(killed(tmp_path), problems=Problems()).close()


def test_without_it_the_log_is_named(tmp_path: Path) -> None:
    path = killed(tmp_path)
    path.with_name("left.duckdb.wal").unlink()
    with pytest.raises(OpenError) as caught:
        survey(path)
    assert str(caught.value) == (
        f'{path}: nothing is recorded in it, and "left.duckdb.wal" is not beside it: where a process was killed, '
        "that log holds up to the last 30 s.\n"
        'Copy "left.duckdb.wal" too, and keep both together.'
    )
