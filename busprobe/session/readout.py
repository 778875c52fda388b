"""Reads a vehicle out by OBD requests: what is asked in which order, and what is made of silence.

    listen 5 s          who else asks? J1939 traffic?
    01 00, 20, 40 ..    which PIDs, by unit
    01 01 0C 42         lamp and readiness, engine speed, battery voltage
    03  07  0A          stored, pending, permanent codes
    09 00, 02, 0A       VIN, names of units

All units are asked at once. Where another tester asks, its answers are listened to instead.
It has no thread and no clock: feed it all frames of the bus and step it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from enum import Enum

import numpy as np

from busprobe.decode.obd import Listener
from busprobe.errors import DeviceError
from busprobe.frames import ERROR, SENT, FrameBatch
from busprobe.health import OtherTester
from busprobe.report.quantities import rounded
from busprobe.report.vehicle_report import Shortfall
from busprobe.session.vehicle_tally import (
    ENGINE_SPEED_PID,
    NAME_TYPE,
    STATUS_PID,
    VIN_TYPE,
    VOLTAGE_PID,
    VehicleEar,
    unit_text,
)
from busprobe.sources.exchange import Exchange
from busprobe.sources.requests import Requester

PASSIVE_NS = 10_000_000_000
"""How long another tester's answers are listened to."""
CODE_SERVICES = (b"\x03", b"\x07", b"\x0a")
WANTED = (STATUS_PID, ENGINE_SPEED_PID, VOLTAGE_PID)
REFUSED, BUSY = 0x7F, 0x21
_ASKED_FOR_SURE = (b"\x01\x00", b"\x03")
"""Every unit with OBD answers these: silence is not taken for an answer at once."""

Say = Callable[[str], None]
"""Told what is going on, a sentence."""
Conversation = Generator[bytes, Exchange, None]


class Phase(Enum):
    LISTENING = "listening"
    ASKING = "asking"
    PASSIVE = "listening to another tester"
    OVER = "over"


class _StoppedError(Exception):
    """Manners forbid to go on asking."""


class Readout:
    """One reading of the vehicle on the bus of a requester."""

    def __init__(self, requester: Requester, say: Say, *, passive_ns: int = PASSIVE_NS) -> None:
        self.ear = VehicleEar()
        self.phase = Phase.LISTENING
        self.shortfalls: list[Shortfall] = []
        self.requests = 0
        self.frames = 0
        """Frames of others heard; with none, the bus itself is silent."""
        self._requester = requester
        self._say = say
        self._passive_ns = passive_ns
        self._listener = Listener()
        self._until_ns = 0
        self._has_begun = False
        self._is_answered = False
        """Somebody said something to the first request."""
        self._conversation = self._talk()
        self._put_off: bytes | None = None
        """A request that waits until the bus has been listened to anew."""

    @property
    def tester(self) -> OtherTester | None:
        """Another tester, where one was seen asking."""
        return self._requester.manners.testers.seen

    def feed(self, batch: FrameBatch) -> None:
        """All frames of the bus, in their order."""
        self.frames += int(np.count_nonzero((batch.flags & (SENT | ERROR)) == 0))
        self._requester.feed(batch)
        self.ear.hear(self._listener.feed(batch))

    def step(self, now_ns: int) -> bool:
        """Go on; True once it is over. Raises DeviceError where nothing may be asked or the bus is gone."""
        match self.phase:
            case Phase.LISTENING:
                self._listen(now_ns)
            case Phase.ASKING:
                self._ask_on(now_ns)
            case Phase.PASSIVE:
                if now_ns >= self._until_ns:
                    self.phase = Phase.OVER
        return self.phase is Phase.OVER

    def _listen(self, now_ns: int) -> None:
        manners = self._requester.manners
        if not self._has_begun:
            self._has_begun = True
            self._say("Listening before anything is asked.")
        self._refuse_j1939()
        if manners.is_listening(now_ns):
            return
        if manners.testers.is_asking(now_ns):
            self._give_way(now_ns)
            return
        self.phase = Phase.ASKING
        if self._put_off is None:
            self._say("Asking: supported PIDs, readiness, voltage, trouble codes, VIN.")
        self._requester.ask(self._put_off or next(self._conversation))
        self._put_off = None

    def _ask_on(self, now_ns: int) -> None:
        exchange = self._requester.step(now_ns)
        if exchange is None:
            if stuck := self._requester.stuck(now_ns):
                raise DeviceError(stuck)
            return
        if exchange.trouble:
            self._refuse_j1939()
            manners = self._requester.manners
            if manners.is_listening(now_ns) and not exchange.was_not_taken:
                self._say("The bus was not heard for a while: listening again before it is asked on.")
                self.phase, self._put_off = Phase.LISTENING, exchange.request
                return
            if not manners.testers.is_asking(now_ns):
                raise DeviceError(exchange.trouble)
        try:
            self._requester.ask(self._conversation.send(exchange))
        except StopIteration:
            self.phase = Phase.OVER
        except _StoppedError:
            self._give_way(now_ns)

    def _give_way(self, now_ns: int) -> None:
        self.phase = Phase.PASSIVE
        self._until_ns = now_ns + self._passive_ns
        asked, further = ("the rest", " any further") if self.requests else ("all", "")
        what = f"not asked{further}: another tester asks; its answers were listened to"
        self.shortfalls.append(Shortfall(asked, "", what))
        self._say(f"Another tester asks. Listening to its answers for {rounded(self._passive_ns)}.")

    def _refuse_j1939(self) -> None:
        if self._requester.manners.j1939:
            raise DeviceError(
                self._requester.manners.j1939,
                hint='"busprobe survey live" shows what such a vehicle broadcasts.',
            )

    # The conversation.

    def _talk(self) -> Conversation:
        yield from self._supported()
        if not self._is_answered:
            return
        yield from self._current()
        for request in CODE_SERVICES:
            yield from self._ask(request)
        types = yield from self._ask(b"\x09\x00")
        yield from self._ask(bytes((0x09, VIN_TYPE)))
        if any(one.payload[:2] == b"\x49\x00" and _lists(one.payload, NAME_TYPE) for one in types.answers):
            yield from self._ask(bytes((0x09, NAME_TYPE)))

    def _supported(self) -> Conversation:
        """Each list of PIDs says whether there is a further one."""
        base: int | None = 0x00
        while base is not None:
            exchange = yield from self._ask(bytes((0x01, base)))
            self._is_answered = self._is_answered or not exchange.is_silent
            lists = [one.payload for one in exchange.answers if one.payload[:2] == bytes((0x41, base))]
            goes_on = base < 0xE0 and any(_lists(payload, base + 0x20) for payload in lists)
            base = base + 0x20 if goes_on else None

    def _current(self) -> Conversation:
        """What the units have of the wanted PIDs, in one request; alone where it was left out of the answer."""
        units = self.ear.tally.result("", 0).units
        has = {(one.unit, int(pid, 16)) for one in units for pid in one.pids or ()}
        wanted = [pid for pid in WANTED if pid == STATUS_PID or any(pid == known for _, known in has)]
        yield from self._ask(bytes((0x01, *wanted)))
        for pid in wanted if len(wanted) > 1 else ():
            if any(known == pid and (unit, pid) not in self.ear.told for unit, known in has):
                yield from self._ask(bytes((0x01, pid)))

    def _ask(self, request: bytes) -> Generator[bytes, Exchange, Exchange]:
        """Ask, and once more where an answer broke off, a unit was busy, or nobody said a word."""
        exchange = yield from self._ask_once(request)
        if _is_worth_repeating(exchange):
            for unit in exchange.half:
                self._fell_short(request, unit, "the answer broke off; asked once more")
            exchange = yield from self._ask_once(request)
        if exchange.is_silent:
            self._fell_short(request, None, "no answer")
        for unit in exchange.half:
            self._fell_short(request, unit, "the answer broke off")
        for unit in exchange.kept_waiting:
            self._fell_short(request, unit, "asked for patience (code 78), then said nothing for 5 s")
        return exchange

    def _ask_once(self, request: bytes) -> Generator[bytes, Exchange, Exchange]:
        exchange = yield request
        if exchange.trouble:
            raise _StoppedError
        self.requests += exchange.sent_ns is not None
        return exchange

    def _fell_short(self, request: bytes, unit: int | None, what: str) -> None:
        name = "" if unit is None else unit_text(unit)
        self.shortfalls.append(Shortfall(request.hex(" ").upper(), name, what))


def _is_worth_repeating(exchange: Exchange) -> bool:
    is_busy = any(
        one.payload[:1] == bytes((REFUSED,)) and one.payload[2:3] == bytes((BUSY,)) for one in exchange.answers
    )
    return bool(exchange.half) or is_busy or (exchange.is_silent and exchange.request in _ASKED_FOR_SURE)


def _lists(payload: bytes, number: int) -> bool:
    """Whether an answer `41 base ABCD` or `49 00 ABCD` says that there is a PID or information type."""
    place = number - payload[1] - 1
    bits = int.from_bytes(payload[2:6].ljust(4, b"\0"), "big")
    return 0 <= place < 32 and bool(bits >> (31 - place) & 1)
