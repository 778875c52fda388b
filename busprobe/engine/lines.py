"""Lines of the log, and the log."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.results import LogLine, Occurrence, TriggerEntry


class Logbook:
    """Lines in the order in which they could be told, however late they were found."""

    def __init__(self) -> None:
        self.lines: list[LogLine] = []
        """Those released, in order."""
        self._held_back: list[LogLine] = []
        self._returned = 0

    def __deepcopy__(self, memo: dict[int, object]) -> Logbook:
        """A twin begins with what is held back: those released are in the log already."""
        twin = Logbook()
        twin._held_back = self._held_back.copy()
        return twin

    def hold(self, lines: Sequence[LogLine]) -> None:
        """Lines in any order; they wait for `release`."""
        self._held_back += lines

    def release(self, upto: int) -> None:
        """Log the lines that can be told from what lies before `upto`: no others will come before them."""
        due = sorted((x for x in self._held_back if x.decided_ns < upto), key=_log_order)
        self._held_back = [x for x in self._held_back if x.decided_ns >= upto]
        self.lines += due

    def new(self) -> list[LogLine]:
        """Lines released since the last call."""
        lines = self.lines[self._returned :]
        self._returned = len(self.lines)
        return lines


def _log_order(line: LogLine) -> tuple[int, int, int, str, str]:
    return line.decided_ns, line.t_ns, line.rank, line.kind, line.text


def occurrence_line(occurrence: Occurrence, rank: int, name: str) -> LogLine:
    """An outcome; the length of a violation is not in it, as it is still going on."""
    parts = [occurrence.part] if occurrence.part else []
    if occurrence.latency_ns is not None:
        parts.append(f"after {occurrence.latency_ns / 1e6:.1f} ms")
    if occurrence.note:
        parts.append(occurrence.note)
    text = ", ".join(parts)
    return LogLine(occurrence.decided_ns, occurrence.t_ns, rank, occurrence.outcome.value, name, text)


def trigger_line(entry: TriggerEntry, rank: int) -> LogLine:
    text = ", ".join(f"{name} {value}" for name, value in entry.signals.items())
    return LogLine(entry.decided_ns, entry.t_ns, rank, "trigger", entry.name, text)
