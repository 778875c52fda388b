"""The status line of a live run, and what is said at its start and end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from busprobe.health import OtherTester

TESTER_SHOWN = 3
"""Different requests of another tester in the status line; the report has more."""

AGAIN_S = 10.0
"""Before the same trouble is told again."""


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
    unasked: str = ""
    """Why nothing is asked where it should be; a sentence."""
    testers: tuple[str, ...] = ()
    """Who else asks for OBD data now: a few words a bus."""


def status_line(status: LiveStatus, width: int | None = None) -> str:
    """All of it in one line, cut to `width`: trouble first, then rates, load and losses, at last room and reasons."""
    down = [source for source in status.sources if not source.is_up]
    up = [source for source in status.sources if source.is_up]
    parts, reasons = [clock_text(status.elapsed_s)], []
    if status.recorder is not None and status.recorder.failure:
        parts.append("NOT RECORDING")
        reasons.append(status.recorder.failure.splitlines()[0])
    parts += [f"{source.name} DOWN" for source in down]
    reasons += [f"{source.name}: {source.trouble.splitlines()[0] if source.trouble else 'waiting'}" for source in down]
    reasons += status.unasked.splitlines()[:1]
    if status.lost:
        parts.append(f"LOST {status.lost:,}")
    parts += [_source(source) for source in sorted(up, key=lambda source: not source.lost)]
    if not status.lost and not any(source.lost for source in status.sources):
        parts.append("lost 0")
    parts.append(f"failed {status.failed}")
    if status.recorder is not None and not status.recorder.failure:
        parts.append(f"free {size_text(status.recorder.free)}, recording {size_text(status.recorder.bytes)}")
    parts += status.testers
    line = " | ".join(parts + reasons)
    return line if width is None or len(line) <= width else line[: width - 1] + "…"


class TroubleNews:
    """What has just gone wrong in a live run, a line each: the status line has no room for the reasons.

    Told of every status. Of a loose plug the same is said again after 10 s at the earliest.
    """

    def __init__(self) -> None:
        self._now: dict[str, str] = {}
        """What is wrong, by source; of the recording under an empty name."""
        self._said_s: dict[str, float] = {}

    def take(self, status: LiveStatus) -> list[str]:
        """What was not wrong at the last status, or for another reason."""
        now = {
            one.name: f"{one.name} is down: {one.trouble}" for one in status.sources if not one.is_up and one.trouble
        }
        if status.recorder is not None and status.recorder.failure:
            now[""] = f"Nothing is recorded any more: {status.recorder.failure}"
        fresh = [text for name, text in now.items() if self._now.get(name) != text and self._is_due(text, status)]
        self._now = now
        self._said_s.update(dict.fromkeys(fresh, status.elapsed_s))
        return [f"{clock_text(status.elapsed_s)} {' '.join(text.split())}" for text in fresh]

    def _is_due(self, text: str, status: LiveStatus) -> bool:
        return status.elapsed_s - self._said_s.get(text, -AGAIN_S) >= AGAIN_S


def asker_words(bus: str, other: OtherTester) -> str:
    """Who else asks on a bus: how often, and for the first few of what it asks for."""
    rate = "" if other.per_second is None else f" {other.per_second:.3g}/s"
    further = other.further(TESTER_SHOWN)
    more = f" +{further}" if further else ""
    asked = "; ".join(other.asked[:TESTER_SHOWN]) or ("behind a gateway" if other.stray_answers else "no request yet")
    return f"tester on {bus}{rate}: {asked}{more}"


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
    words = [source.name, f"LOST {source.lost:,}"] if source.lost else [source.name]
    words += [f"{source.per_second:,.0f}/s"]
    if source.load is not None:
        words.append(f"{100 * source.load:.0f} %")
    if source.state and source.state != "active":
        words.append(source.state)
    if source.errors:
        words.append(f"errors {source.errors:,}")
    if source.gaps:
        words.append(f"gaps {source.gaps}")
    return " ".join(words)
