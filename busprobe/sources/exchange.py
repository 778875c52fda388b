"""What came of one OBD request."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

REFUSED: Final = 0x7F
"""First byte of a refusal (ISO 14229-1)."""


@dataclass(frozen=True)
class Answer:
    """One whole answer of one control unit."""

    unit_id: int
    """Identifier that it answers with."""
    t_ns: int
    """Time of its last frame."""
    payload: bytes
    """From the service byte on: 41 0D 3C, or 7F 09 11 for a refusal."""


@dataclass(frozen=True)
class Exchange:
    """A request and all that came back, or why it was not sent."""

    request: bytes
    """From the service byte on: 01 0D."""
    identifier: int | None = None
    """That it was sent on; None: it was not sent."""
    sent_ns: int | None = None
    answers: tuple[Answer, ...] = ()
    """In the order in which they were complete; refusals among them, requests for patience not."""
    half: tuple[int, ...] = ()
    """Units whose answer began and was never completed."""
    kept_waiting: tuple[int, ...] = ()
    """Units that asked for patience (code 78) and then said nothing for 5 s."""
    trouble: str = ""
    """Why it was not sent, or what broke off; a sentence for the user."""
    was_not_taken: bool = False
    """It was to be sent, but the adapter did not take it."""

    @property
    def units(self) -> frozenset[int]:
        """Units that gave a whole answer."""
        return frozenset(answer.unit_id for answer in self.answers)

    @property
    def is_silent(self) -> bool:
        """Nobody said anything."""
        return not (self.answers or self.half or self.kept_waiting)

    @property
    def is_refused(self) -> bool:
        """A unit said no; another may have answered."""
        return any(answer.payload[0] == REFUSED for answer in self.answers)
