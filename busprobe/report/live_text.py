"""The status line of a live run, and what is said at its start and end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


class RecorderState(Protocol):
    """How the recorder is doing."""

    @property
    def rows(self) -> int: ...
    @property
    def bytes(self) -> int: ...
    @property
    def free(self) -> int: ...
    @property
    def failure(self) -> str: ...


@dataclass(frozen=True)
class SourceLine:
    """One source in the status line."""

    name: str
    is_up: bool
    per_second: float
    load: float | None
    """Share of the bus in use, without stuff bits; None where the bit rate is not known."""
    lost: int
    errors: int
    state: str
    trouble: str
    gaps: int


@dataclass(frozen=True)
class LiveStatus:
    elapsed_s: float
    sources: tuple[SourceLine, ...]
    lost: int
    """Records dropped because they could not be taken in fast enough."""
    failed: int
    """Occurrences that have failed so far."""
    recorder: RecorderState | None


def status_line(status: LiveStatus) -> str:
    """All of it in one line: state is a word first."""
    parts = [clock_text(status.elapsed_s)]
    parts += [_source(source) for source in status.sources]
    if status.lost:
        parts.append(f"LOST {status.lost:,}")
    parts.append(f"failed {status.failed}")
    if status.recorder is not None:
        parts.append(_recorder(status.recorder))
    return " | ".join(parts)


def clock_text(seconds: float) -> str:
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def size_text(count: int) -> str:
    """Bytes for a person."""
    for unit, size in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if count >= size:
            return f"{count / size:.1f} {unit}"
    return f"{count} B"


def _source(source: SourceLine) -> str:
    if not source.is_up:
        trouble = source.trouble.splitlines()[0] if source.trouble else "waiting"
        return f"{source.name} DOWN: {trouble}"
    words = [source.name, f"{source.per_second:,.0f}/s"]
    if source.load is not None:
        words.append(f"{100 * source.load:.0f} %")
    if source.state and source.state != "active":
        words.append(source.state)
    if source.errors:
        words.append(f"errors {source.errors:,}")
    if source.lost:
        words.append(f"LOST {source.lost:,}")
    if source.gaps:
        words.append(f"gaps {source.gaps}")
    return " ".join(words)


def _recorder(state: RecorderState) -> str:
    if state.failure:
        return f"NOT RECORDING: {state.failure.splitlines()[0]}"
    return f"recording {size_text(state.bytes)}, free {size_text(state.free)}"
