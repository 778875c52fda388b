"""Why a tap gives no value, in words."""

from __future__ import annotations

from typing import NamedTuple

from busprobe.timeline import NEVER

ADAPTER_DOWN, BOX_DOWN, NOT_AGAIN = "adapter down", "box down", "not seen again"
"""Its adapter or box is gone; its adapter is back, but no sample has come since."""
UNREADABLE = "recording damaged"
"""The same where the recording cannot be read."""
CHATTERING = "chattering"
NOT_SEEN, SLEEPS = "not seen yet", "asleep"
"""Words for what is excused."""


class Out(NamedTuple):
    """A time without an adapter or box."""

    start_ns: int
    end_ns: int
    why: str


def excused(since_ns: int) -> str:
    """Why something is asleep since a time."""
    return SLEEPS if since_ns > NEVER else NOT_SEEN
