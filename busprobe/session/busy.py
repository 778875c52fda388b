"""How long the machine has just held a live run up: its readers could get no further either.

turn  20 ms  20 ms  ......... 900 ms .........  20 ms  20 ms  20 ms
busy                                  500 ms    495    490    485      it wears off
"""

from __future__ import annotations

MOST_BUSY_S, WEARS_OFF = 0.5, 4
"""Where the machine has just held a run up its readers get as much more patience, at most so much; it wears off."""


class Busy:
    """Told of every turn of a run. usual_s: a turn that took no longer was not held up."""

    def __init__(self, usual_s: float) -> None:
        self._usual_s = usual_s
        self._last = 0.0
        self.patience_s = 0.0
        """What readers get besides."""

    def turn(self, now_s: float) -> float:
        """How long the turn that ends was held up, in seconds. now_s: monotonic time."""
        took_s = now_s - (self._last or now_s)
        held_up_s = max(took_s - self._usual_s, 0.0)
        self._last = now_s
        self.patience_s = min(max(held_up_s, self.patience_s - took_s / WEARS_OFF), MOST_BUSY_S)
        return held_up_s
