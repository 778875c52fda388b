"""Asks control units for OBD data, one request at a time, in bytes only (ISO 15765-4, SAE J1979).

    t         7DF  02 01 0D             request, to all units with 11-bit identifiers
    + 12 ms   7E8  03 41 0D 3C          answer
    ...       18DB33F1  02 01 0D        once nobody has answered: the same with 29-bit identifiers

One thread feeds a requester all frames of the bus and calls `step` every 50 ms or so. It never
reads the bus itself, and sends only through the bus source; where it is to wait for no driver, the
send has a thread of its own (`outbox`), and nothing else is asked until the adapter took a frame.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from busprobe.bench.hardware import PIDS_PER_REQUEST
from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch
from busprobe.obd_identifiers import ALL_11, ALL_29, answer_rows
from busprobe.sources.exchange import Exchange
from busprobe.sources.manners import ECHO_NS, QUIET_NS, Manners
from busprobe.sources.outbox import Handed, Outbox, Sender
from busprobe.sources.permit import SendPermit
from busprobe.sources.sendable import SERVICES
from busprobe.sources.talk import Talk

CURRENT_DATA: Final = 0x01
INFORMATION: Final = 0x09
GRACE_NS: Final = 1_000_000_000
"""A bus source that gets no further for this long does not hold up the end of an exchange."""

STUCK_NS: Final = 1_000_000_000
"""An adapter that has not taken a frame for this long is told of."""
HELD_NS: Final = 200_000_000
"""Steps further apart than this: the program was held up, and who sends and who reads could not go on either."""
LATE_NS: Final = ECHO_NS // 2
"""A frame that the adapter took this long after it was handed over may be handed back later still."""


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

    listen_ns: how long the bus is heard before anything is asked. own_thread: wait for no driver
    that blocks; call `close` at the end. wakes: ask also while the bus is asleep.
    """

    def __init__(
        self, sender: Sender, permit: SendPermit, listen_ns: int = QUIET_NS, *,
        own_thread: bool = False, wakes: bool = True,
    ) -> None:  # fmt: skip
        self.manners = Manners(permit.bus, listen_ns, wakes=wakes)
        self._bus = permit.bus
        self._outbox = Outbox(sender, permit, own_thread=own_thread)
        self._now_ns = self._complete_ns = 0
        self._held_up_ns = 0
        """For how long the program was held up since the request."""
        self._waiting: bytes | None = None
        """Request whose turn has not come."""
        self._expected: frozenset[int] = frozenset()
        self._talk: Talk | None = None
        self._request: Handed | None = None
        """The frame with which the talk begins."""
        self._trouble = ""
        self._identifier: int | None = None
        """That this vehicle answers to; None: nobody has answered yet."""
        self._tried_11 = False

    @property
    def is_idle(self) -> bool:
        return self._waiting is None and self._talk is None

    def feed(self, batch: FrameBatch) -> None:
        """All frames of the bus, in their order."""
        self._settle()
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
        if self._now_ns:
            self._held_up_ns += max(now_ns - self._now_ns - HELD_NS, 0)
        self._now_ns = now_ns
        self._settle()
        if self._waiting is not None:
            return self._begin(self._waiting, now_ns)
        if self._talk is not None:
            return self._end(self._talk, now_ns)
        return None

    def stuck(self, now_ns: int) -> str:
        """That the adapter has had a frame for long and did not take it, a sentence; empty otherwise."""
        oldest = self._outbox.oldest
        if oldest is None or oldest.is_over or now_ns - oldest.at_ns - self._held_up_ns < STUCK_NS:
            return ""
        return (
            f'Bus "{self._bus}": the adapter has not taken a frame for more than 1 s; nothing is asked until it does. '
            "Look at the wires and the bit rate; else unplug it and plug it in again."
        )

    def close(self) -> None:
        """Send nothing more."""
        self._outbox.close()

    def _begin(self, request: bytes, now_ns: int) -> Exchange | None:
        refusal = self.manners.refusal(now_ns)
        if not refusal and (self._outbox.oldest is not None or not self.manners.pace.is_due(now_ns)):
            return None
        self._waiting = None
        if refusal:
            return Exchange(request, trouble=refusal)
        identifier = self._identifier or (ALL_29 if self._tried_11 else ALL_11)
        self._trouble, self._held_up_ns = "", 0
        self.manners.pace.note(now_ns)
        self._talk = Talk(request, identifier, now_ns, self._send)
        self._request = self._hand(identifier, bytes((len(request),)) + request.ljust(7, b"\0"), now_ns)
        self._settle()
        return self._not_sent(self._request)

    def _end(self, talk: Talk, now_ns: int) -> Exchange | None:
        assert self._request is not None
        if self._request.trouble:
            return self._not_sent(self._request)
        deadline_ns = talk.deadline_ns()
        is_late = self._complete_ns > deadline_ns or now_ns - self._held_up_ns > deadline_ns + GRACE_NS
        if not self._request.is_over or not (is_late or self._trouble or talk.has_all(self._expected)):
            return None
        exchange = talk.result(self._trouble)
        self._talk = None
        self._outbox.drop_waiting()
        if not exchange.is_silent:
            self._identifier = talk.identifier
        elif self._identifier is None and talk.identifier == ALL_11 and not self._trouble:
            self._waiting, self._tried_11 = talk.request, True
            return None
        return exchange

    def _not_sent(self, handed: Handed) -> Exchange | None:
        """The end of an exchange whose request did not go out; None where it did, or may yet."""
        if not handed.trouble or self._talk is None:
            return None
        request, self._talk = self._talk.request, None
        return Exchange(request, trouble=handed.trouble, was_not_taken=True)

    def _send(self, identifier: int, data: bytes) -> None:
        """Send a frame in the midst of an exchange."""
        self._hand(identifier, data, max(self._now_ns, self._complete_ns))

    def _hand(self, identifier: int, data: bytes, now_ns: int) -> Handed:
        self.manners.testers.note_own(identifier, data, now_ns)
        return self._outbox.hand(identifier, data, now_ns)

    def _settle(self) -> None:
        """What came of the frames that were handed over; a bus that is gone ends the exchange."""
        for handed in self._outbox.finished():
            if handed.trouble:
                self.manners.testers.take_back(handed.identifier, handed.data, handed.at_ns)
                if not handed.is_unwanted:
                    self._trouble = handed.trouble
                    self.manners.pace.note_failed(max(self._now_ns, handed.at_ns))
                continue
            self.manners.pace.note_taken()
            if handed.out_ns - handed.at_ns > LATE_NS:
                self.manners.testers.note_own(handed.identifier, handed.data, handed.out_ns)
            if handed is self._request:
                self.manners.pace.note(max(handed.at_ns, handed.out_ns))
                if self._talk is not None:
                    self._talk.went_out(handed.sent_ns, handed.out_ns)
