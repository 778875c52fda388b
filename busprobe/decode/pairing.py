"""Which request an answer belongs to (ISO 15765-4 and ISO 14229-2 timing).

t        7DF  02 01 0D               request
+ 12 ms  7E8  03 7F 01 78            pending: the answer may take up to P2* from here
+ 1.3 s  7E8  03 41 0D 3C            answer
"""

from __future__ import annotations

from collections import deque

from busprobe.decode.answers import Request
from busprobe.obd_identifiers import LAST_11, answering_unit

P2_NS = 50_000_000
"""Longest time from a request to the first frame of its answer (P2)."""
P2_PENDING_NS = 5_000_000_000
"""The same from a "pending" answer on (P2*)."""
KEPT = 16
"""Requests kept for each service; a tester has one open at a time."""


class Pairing:
    """Remembers the newest requests and finds the one that an answer belongs to."""

    def __init__(self, p2_ns: int = P2_NS) -> None:
        self._p2_ns = p2_ns
        self._requests: dict[tuple[str, int, bool], deque[Request]] = {}
        self._pending: dict[tuple[str, int, int], int] = {}

    def add(self, request: Request) -> None:
        key = (request.channel, request.service, request.identifier > LAST_11)
        if key not in self._requests:
            self._requests[key] = deque(maxlen=KEPT)
        self._requests[key].append(request)

    def wait(self, channel: str, unit_id: int, service: int, t_ns: int) -> None:
        """The unit asked for patience at `t_ns`."""
        self._pending[channel, unit_id, service] = t_ns

    def request_of(self, channel: str, unit_id: int, service: int, number: int | None, first_ns: int) -> int | None:
        """Time of the request that an answer belongs to.

        number: first PID or information type of the answer, None where the service has none.
        first_ns: time of the answer's first frame.
        """
        pending_ns = self._pending.get((channel, unit_id, service))
        for request in reversed(self._requests.get((channel, service, unit_id > LAST_11), ())):
            if number is not None and number not in request.pids:
                continue
            if answering_unit(request.identifier) not in (None, unit_id):
                continue
            if 0 <= first_ns - request.t_ns <= self._p2_ns:
                return request.t_ns
            if pending_ns is not None and request.t_ns <= pending_ns and 0 <= first_ns - pending_ns <= P2_PENDING_NS:
                return request.t_ns
        return None
