"""Who asks for OBD data on a bus, as a snapshot shows it."""

from __future__ import annotations

from dataclasses import dataclass

from busprobe.sources.manners import OtherTester


@dataclass(frozen=True)
class RequestsNow:
    """OBD requests on a bus: busprobe's own where it was given leave, and those of another tester."""

    bus: str
    is_polled: bool = False
    """busprobe asks here, as `[obd] poll` wants it."""
    sent: int = 0
    per_second: float = 0.0
    """Of busprobe's own, over the last 10 s or so."""
    every_ns: int | None = None
    """As the bench file wants it."""
    period_ns: int | None = None
    """As achieved."""
    unanswered: int = 0
    incomplete: int = 0
    paused: str = ""
    """Why nothing is asked now; a sentence."""
    other: OtherTester | None = None
    """Who else has asked since the start."""
    is_other_asking: bool = False
    """Within the last 5 s."""
    not_taken: int = 0
    """Requests that the adapter did not take."""
