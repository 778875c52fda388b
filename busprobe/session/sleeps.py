"""When buses fell asleep and woke, as the log tells it."""

from __future__ import annotations

from busprobe.results import LogLine


class Sleeps:
    """Lines of buses, taken in as they are logged."""

    def __init__(self) -> None:
        self._lines: dict[str, list[LogLine]] = {}

    def add(self, line: LogLine) -> None:
        self._lines.setdefault(line.name, []).append(line)

    def since(self, bus: str, t_ns: int) -> int | None:
        """From when on a bus was known to sleep that sleeps at a time; None: it is awake."""
        newest = next((line for line in reversed(self._lines.get(bus, ())) if line.decided_ns <= t_ns), None)
        return None if newest is None or newest.kind == "awake" else newest.decided_ns
