"""Opens any recording: our own, or a file of frames in one of the formats known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Protocol

from busprobe.errors import OpenError, Problems
from busprobe.frames import Batch, FrameBatch, InputBatch
from busprobe.recording.marking import MARKER
from busprobe.recording.read import Recording, looks_like, open_recording
from busprobe.recording.schema import wal_of
from busprobe.recording.walk_events import WALK, walk_results
from busprobe.report.quantities import exact, moment
from busprobe.results import Marker, WalkResult
from busprobe.session.damaged import damage_notes
from busprobe.sources.detect import detect
from busprobe.sources.formats import BATCH_ROWS, Format

OWN_FORMAT = "busprobe recording (.duckdb)"
UNCERTAINTY_KEY = "uncertainty_ns"
"""In a recording's `about`: "uncertainty_ns body" -> ns, for each bus and box."""
FRAMES, STATES = "frames", "states"
"""Names of the sources of a recording besides its input boxes."""


class OpenedSource(Protocol):
    """A recording of any kind, ready to be read from its start."""

    name: str
    """Its format, as a person says it."""
    uncertainty_ns: int | Mapping[str, int]
    """How exactly its records are stamped: of all, or by bus and box."""
    sources: tuple[str, ...]
    """What its batches come from: see `source_of`."""
    about: Mapping[str, str]
    """What the recording says of itself."""
    is_own: bool
    """Recorded by busprobe: each channel was stamped by itself, late records are marked."""

    @property
    def start_ns(self) -> int | None:
        """When it starts; None until the first batch where the file does not say."""
        ...

    def batches(self) -> Iterator[Batch]: ...

    def close(self) -> None:
        """Let go of the file."""
        ...


def source_of(batch: Batch) -> str:
    """Name of the source that a batch of a recording comes from."""
    if isinstance(batch, FrameBatch):
        return FRAMES
    return batch.box if isinstance(batch, InputBatch) else STATES


@dataclass
class FrameFile:
    """A file of frames."""

    path: Path
    format: Format
    problems: Problems
    batch_rows: int
    start_ns: int | None = None
    sources: tuple[str, ...] = (FRAMES,)
    is_own: bool = False
    uncertainty_ns: int | Mapping[str, int] = 0

    def __post_init__(self) -> None:
        self.name = self.format.name
        self.uncertainty_ns = self.format.resolution_ns
        self.about: Mapping[str, str] = MappingProxyType({})

    def close(self) -> None:
        """Nothing is held open between batches."""

    def batches(self) -> Iterator[Batch]:
        try:
            for batch in self.format.read(self.path, self.problems, self.batch_rows):
                if self.start_ns is None and len(batch):
                    self.start_ns = int(batch.t_ns[0])
                yield batch
        except OSError as error:
            raise OpenError(
                f"reading stopped: {error.strerror}.", path=self.path, hint="Copy the file anew."
            ) from error


class OwnRecording:
    """A recording of busprobe's own: frames, input lines and source states."""

    def __init__(self, recording: Recording, batch_rows: int, problems: Problems) -> None:
        self.recording = recording
        self._problems = problems
        self._batch_rows = batch_rows
        self.name = OWN_FORMAT
        self.is_own = True
        self.uncertainty_ns: int | Mapping[str, int] = stated_uncertainty(recording.about)
        self.about = recording.about
        frames = (FRAMES,) if recording.channels else ()
        self.sources: tuple[str, ...] = (STATES, *recording.boxes, *frames)

    @property
    def start_ns(self) -> int | None:
        return self.recording.start_ns

    def batches(self) -> Iterator[Batch]:
        recording = self.recording
        recording.look_through()
        if recording.damage is not None:
            for text in damage_notes(recording.damage, recording.start_ns or 0, recording.end_ns or 0):
                self._problems.add(text, path=recording.path)
        yield from recording.batches(self._batch_rows)

    def close(self) -> None:
        self.recording.close()


def stated_uncertainty(about: Mapping[str, str]) -> Mapping[str, int]:
    """By bus and box, what was stated when it was recorded."""
    start = UNCERTAINTY_KEY + " "
    return {
        key.removeprefix(start): int(value)
        for key, value in about.items()
        if key.startswith(start) and value.isdecimal()
    }


def enclosed_in(source: OpenedSource) -> Mapping[str, str]:
    """The texts of the bench file and databases that a recording holds, by name."""
    return source.recording.bench if isinstance(source, OwnRecording) else {}


def ring_notes(about: Mapping[str, str], start_ns: int) -> list[str]:
    """What a recording lacks that was a ring, a sentence; none of another one."""
    dropped_ns = dropped_before(about)
    return [] if dropped_ns is None else [ring_note(dropped_ns, start_ns)]


def dropped_before(about: Mapping[str, str]) -> int | None:
    """Of a recording that was a ring, before when all has been dropped."""
    dropped = about.get("dropped_before_ns", "")
    return int(dropped) if dropped.isdecimal() else None


def ring_note(dropped_before_ns: int, start_ns: int) -> str:
    """What a ring that was full has dropped."""
    length = exact(dropped_before_ns - start_ns)
    return f"The ring was full: the first {length} have been dropped, all before {moment(dropped_before_ns, start_ns)}."


def end_of(source: OpenedSource) -> int | None:
    """When a recording of busprobe's own ends; None where its last record says so, as in a file of frames."""
    return source.recording.end_ns if isinstance(source, OwnRecording) else None


def walk_of(source: OpenedSource) -> tuple[WalkResult, ...]:
    """What the guided walk found, as recorded, in the order found; only a recording of busprobe's own keeps it."""
    return walk_results(source.recording.events(WALK)) if isinstance(source, OwnRecording) else ()


def markers_of(source: OpenedSource) -> tuple[Marker, ...]:
    """The markers kept in a recording of busprobe's own, in order of time."""
    if not isinstance(source, OwnRecording):
        return ()
    kept = [Marker(event.t_ns, event.name) for event in source.recording.events(MARKER)]
    return tuple(sorted(kept, key=lambda marker: marker.t_ns))


def open_source(path: Path, *, problems: Problems, batch_rows: int = BATCH_ROWS) -> OpenedSource:
    """Open a recording of any kind that busprobe reads.

    Raises OpenError where there is none, it is of no known format or in use, or lacks the log of a
    killed process that holds all of it. Damage within it goes to `problems` while its batches are read.
    """
    if path.is_file() and looks_like(_head(path)):
        recording = open_recording(path, at_once=True)
        if recording.end_ns is None and not (wal := wal_of(path)).exists():
            recording.close()
            raise OpenError(
                f'nothing is recorded in it, and "{wal.name}" is not beside it: where a process was killed, that log '
                "holds up to the last 30 s.",
                path=path,
                hint=f'Copy "{wal.name}" too, and keep both together.',
            )
        return OwnRecording(recording, batch_rows, problems)
    return FrameFile(path, detect(path, (OWN_FORMAT,)), problems, batch_rows)


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(64)
    except OSError:
        return b""
