"""Asks for the PIDs of `[obd] poll` again and again.

    every = "500 ms"   |  0C 0D 42 ..  |  0C 0D 42 ..  |  (another tester asks)  |  0C 0D 42 ..
                       0              0.5 s           1.0 s                      ...

The answers are decoded from the bus like everybody's; here it is only seen to that they come.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from busprobe.sources.exchange import Exchange
from busprobe.sources.requests import Requester, grouped

LEARN_EVERY = 20
"""Every so many rounds all units get the full time to answer; in between those that did are awaited."""
ROUNDS_KEPT = 16


@dataclass(frozen=True)
class PollHealth:
    """How polling has been doing; for people, never for logic."""

    requests: int = 0
    unanswered: int = 0
    """Requests to which nobody said anything."""
    refused: int = 0
    """Requests that a unit refused."""
    incomplete: int = 0
    """Requests with an answer that broke off or never followed a request for patience."""
    period_ns: int | None = None
    """Achieved time from round to round, median of the newest ones."""
    paused: str = ""
    """Why nothing is asked now; a sentence."""
    not_taken: int = 0
    """Requests that the adapter did not take."""


class Poller:
    """Keeps a requester busy; it is then nobody else's."""

    def __init__(self, requester: Requester, pids: Sequence[int], every_ns: int) -> None:
        self._requester = requester
        self._requests = grouped(pids)
        self._every_ns = every_ns
        self._units: dict[bytes, frozenset[int]] = {}
        """Units that answered each request when it was last asked."""
        self._left: deque[bytes] = deque()
        self._next_ns: int | None = None
        self._begun: deque[int] = deque(maxlen=ROUNDS_KEPT)
        self._round = 0
        self._asked = self._unanswered = self._refused = self._incomplete = self._not_taken = 0
        self._paused = ""

    def step(self, now_ns: int) -> Exchange | None:
        """Go on; gives the exchange that has just ended. Call it every 50 ms or so."""
        exchange = self._requester.step(now_ns)
        if exchange is not None:
            self._note(exchange)
        if self._requester.is_idle:
            self._go_on(now_ns)
        self._paused = self._requester.stuck(now_ns) or self._paused
        return exchange

    @property
    def health(self) -> PollHealth:
        gaps = [later - earlier for earlier, later in zip(self._begun, list(self._begun)[1:], strict=False)]
        period_ns = int(median(gaps)) if gaps else None
        return PollHealth(
            self._asked, self._unanswered, self._refused, self._incomplete, period_ns, self._paused, self._not_taken
        )

    def _go_on(self, now_ns: int) -> None:
        if not self._left:
            if self._next_ns is not None and now_ns < self._next_ns:
                return
            self._begin_round(now_ns)
        request = self._left.popleft()
        learns = self._round % LEARN_EVERY == 0
        self._requester.ask(request, () if learns else self._units.get(request, ()))
        refused = self._requester.step(now_ns)
        if refused is not None:
            self._note(refused)

    def _begin_round(self, now_ns: int) -> None:
        """Rounds begin on a grid; a late one begins at once, and those missed are never made up for."""
        start_ns = now_ns if self._next_ns is None else self._next_ns
        self._next_ns = start_ns + ((now_ns - start_ns) // self._every_ns + 1) * self._every_ns
        self._left.extend(self._requests)
        self._begun.append(now_ns)
        self._round += 1

    def _note(self, exchange: Exchange) -> None:
        self._paused = exchange.trouble
        self._not_taken += exchange.was_not_taken
        if exchange.sent_ns is None:
            self._left.clear()
            self._begun.clear()
            return
        self._asked += 1
        self._unanswered += exchange.is_silent
        self._refused += exchange.is_refused
        self._incomplete += bool(exchange.half or exchange.kept_waiting)
        self._units[exchange.request] = exchange.units
