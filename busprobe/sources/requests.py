"""Asks control units for OBD data, one request at a time, in bytes only (ISO 15765-4, SAE J1979).

    t         7DF  02 01 0D             request, to all units with 11-bit identifiers
    + 12 ms   7E8  03 41 0D 3C          answer
    ...       18DB33F1  02 01 0D        once nobody has answered: the same with 29-bit identifiers

One thread feeds a requester all frames of the bus and calls `step` every 50 ms or so. It never
reads the bus itself, and sends only through the bus source.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final, Protocol

from busprobe.bench.hardware import PIDS_PER_REQUEST
from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch
from busprobe.obd_identifiers import ALL_11, ALL_29, answer_rows, is_extended
from busprobe.sources.exchange import Exchange
from busprobe.sources.manners import QUIET_NS, Manners
from busprobe.sources.permit import SendPermit
from busprobe.sources.sendable import SERVICES
from busprobe.sources.talk import Talk

CURRENT_DATA: Final = 0x01
INFORMATION: Final = 0x09
GRACE_NS: Final = 1_000_000_000
"""A bus source that gets no further for this long does not hold up the end of an exchange."""


class Sender(Protocol):
    """The one guarded send of a bus source."""

    def send(self, identifier: int, data: bytes, permit: SendPermit, *, extended: bool = False) -> int:
        """Send a frame and say when, in event time. Raises DeviceError."""
        ...


def refuse_request(payload: bytes) -> None:
    """Raise DeviceError unless `payload` is a request that busprobe may send."""
    service, rest = payload[:1], len(payload) - 1
    if service not in [bytes((allowed,)) for allowed in SERVICES]:
        raise DeviceError(
            f'The service "{service.hex().upper()}" is never asked for.',
            hint="Services 01, 03, 07, 09 and 0A are.",
        )
    least, most, wanted = {CURRENT_DATA: (1, PIDS_PER_REQUEST, "1 to 6 numbers"), INFORMATION: (1, 1, "1 number")}.get(
        payload[0], (0, 0, "none")
    )
    if not least <= rest <= most:
        raise DeviceError(
            f'"{payload.hex(" ").upper()}" is no OBD request: service {payload[0]:02X} has {wanted} after it.'
        )


def grouped(pids: Sequence[int]) -> list[bytes]:
    """Requests of service 01 for `pids`, up to six in each."""
    return [bytes((CURRENT_DATA, *pids[k : k + PIDS_PER_REQUEST])) for k in range(0, len(pids), PIDS_PER_REQUEST)]


class Requester:
    """Sends requests to all control units of one bus, mannerly, and gathers their answers.

    listen_ns: how long the bus is heard before anything is asked.
    """

    def __init__(self, sender: Sender, permit: SendPermit, listen_ns: int = QUIET_NS) -> None:
        self.manners = Manners(permit.bus, listen_ns)
        self._sender = sender
        self._permit = permit
        self._complete_ns = 0
        self._waiting: bytes | None = None
        """Request whose turn has not come."""
        self._expected: frozenset[int] = frozenset()
        self._talk: Talk | None = None
        self._trouble = ""
        self._identifier: int | None = None
        """That this vehicle answers to; None: nobody has answered yet."""
        self._tried_11 = False

    @property
    def is_idle(self) -> bool:
        return self._waiting is None and self._talk is None

    def feed(self, batch: FrameBatch) -> None:
        """All frames of the bus, in their order."""
        self.manners.feed(batch)
        complete = batch.complete_to
        if complete is not None:
            self._complete_ns = max(self._complete_ns, complete)
        if self._talk is None:
            return
        rows = answer_rows(batch)
        columns = (batch.t_ns, batch.identifier, batch.length, batch.payload)
        for t_ns, identifier, length, word in zip(*(c[rows].tolist() for c in columns), strict=True):
            self._talk.take(t_ns, identifier, word.to_bytes(8, "little")[:length])

    def ask(self, payload: bytes, expected: Collection[int] = ()) -> None:
        """Put a request; `step` sends it when its turn comes and later says what came of it.

        payload: from the service byte on. expected: units whose answers make it complete; without
        any, everybody has until the time is out. Raises DeviceError where it is no request that
        busprobe may send. Only while idle.
        """
        refuse_request(payload)
        assert self.is_idle, "one request at a time"
        self._waiting, self._expected, self._tried_11 = payload, frozenset(expected), False

    def step(self, now_ns: int) -> Exchange | None:
        """Send what waits, or give the exchange that is over."""
        if self._waiting is not None:
            return self._begin(self._waiting, now_ns)
        if self._talk is not None:
            return self._end(self._talk, now_ns)
        return None

    def _begin(self, request: bytes, now_ns: int) -> Exchange | None:
        refusal = self.manners.refusal(now_ns)
        if not refusal and not self.manners.pace.is_due(now_ns):
            return None
        self._waiting = None
        if refusal:
            return Exchange(request, trouble=refusal)
        identifier = self._identifier or (ALL_29 if self._tried_11 else ALL_11)
        self._trouble = ""
        sent_ns = self._send(identifier, bytes((len(request),)) + request.ljust(7, b"\0"))
        if self._trouble:
            return Exchange(request, trouble=self._trouble)
        self.manners.pace.note(sent_ns)
        self._talk = Talk(request, identifier, sent_ns, self._send)
        return None

    def _end(self, talk: Talk, now_ns: int) -> Exchange | None:
        deadline_ns = talk.deadline_ns()
        is_late = self._complete_ns > deadline_ns or now_ns > deadline_ns + GRACE_NS
        if not (is_late or self._trouble or talk.has_all(self._expected)):
            return None
        exchange = talk.result(self._trouble)
        self._talk = None
        if not exchange.is_silent:
            self._identifier = talk.identifier
        elif self._identifier is None and talk.identifier == ALL_11 and not self._trouble:
            self._waiting, self._tried_11 = talk.request, True
            return None
        return exchange

    def _send(self, identifier: int, data: bytes) -> int:
        """Send a frame; a bus that is gone ends the exchange instead of whoever feeds frames."""
        try:
            sent_ns = self._sender.send(identifier, data, self._permit, extended=is_extended(identifier))
        except DeviceError as error:
            self._trouble = str(error)
            return 0
        self.manners.testers.note_own(identifier, data, sent_ns)
        return sent_ns
