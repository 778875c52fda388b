"""Lines of the log."""

from __future__ import annotations

from busprobe.results import LogLine, Occurrence, TriggerEntry


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
