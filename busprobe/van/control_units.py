"""Control units that answer OBD requests, for a bus that is simulated (ISO 15765-4, SAE J1979).

    request         7DF 02 09 02              (or 7E0, 18DB33F1, 18DAxxF1)
    + 10 ms         7E8 10 14 49 02 01 41 30 54
    flow control    7E0 30 00 00              they wait up to 1 s for it
    + 1 ms a frame  7E8 21 .. 22 ..

They are told of each frame on the bus and give the frames that they then send, with the times at
which they are due. There is no thread and no clock in them. `Conduct` makes a unit refuse, ask for
patience, break off or keep silent.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from busprobe.van.diagnostics import segments, supported
from busprobe.van.steps import ns

ALL_11, ALL_29 = 0x7DF, 0x18DB33F1
LAST_11: Final = 0x7FF
CODE_SERVICES: Final = (0x03, 0x07, 0x0A)
REFUSED, PENDING = 0x7F, 0x78
FLOW_WAIT_NS: Final = ns(1.0)
"""How long a unit waits for flow control (N_Bs)."""

PidData = bytes | Callable[[int], bytes]
"""Data bytes of a PID, or what gives them at a time in ns."""


class Sent(NamedTuple):
    """A frame that a unit sends."""

    t_ns: int
    identifier: int
    """Above 7FF: 29 bits."""
    data: bytes


@dataclass(frozen=True)
class Conduct:
    """How a unit treats requests; services not named are answered."""

    delay_ns: int = ns(0.010)
    """From the request to the first frame."""
    apart_ns: int = ns(0.001)
    """Between consecutive frames."""
    silent: frozenset[int] = frozenset()
    """Services that get no answer."""
    refuses: Mapping[int, int] = field(default_factory=dict)
    """Service -> response code."""
    patience: Mapping[int, int] = field(default_factory=dict)
    """Service -> ns from "pending" (code 78) to the answer."""
    breaks_off: frozenset[int] = frozenset()
    """Services whose long answers stop one frame before the end; short ones are not sent."""


@dataclass
class ControlUnit:
    """One control unit; what it knows may be changed between requests."""

    identifier: int
    """That it answers with: 7E8 to 7EF, or 18DAF1xx."""
    pids: Mapping[int, PidData] = field(default_factory=dict)
    """PID -> data, without 01 and without the lists of supported PIDs."""
    vin: str = ""
    name: str = ""
    """As information type 0A gives it, such as "ECM" or "ECM-EngineControl"."""
    codes: dict[int, list[str]] = field(default_factory=lambda: {service: [] for service in CODE_SERVICES})
    """Service 03 (stored), 07 (pending), 0A (permanent) -> trouble codes; a service left out is not answered."""
    monitors: bytes = bytes.fromhex("076100")
    """Bytes B, C, D of PID 01: which readiness monitors there are and which are not complete."""
    conduct: Conduct = Conduct()

    def answer(self, request: bytes, t_ns: int) -> bytes | None:
        """The answer to a whole request, from the service byte on; None: there is none."""
        service = request[0]
        if service == 0x01:
            found = [(pid, self._pid(pid, t_ns)) for pid in request[1:]]
            data = b"".join(bytes((pid,)) + one for pid, one in found if one is not None)
            return b"\x41" + data if data else None
        if service == 0x09:
            return self._information(request[1]) if len(request) == 2 else None
        if service in CODE_SERVICES and service in self.codes:
            found_codes = self.codes[service]
            return bytes((service + 0x40, len(found_codes))) + b"".join(map(code_bytes, found_codes))
        return None

    def _pid(self, pid: int, t_ns: int) -> bytes | None:
        if pid % 0x20 == 0:
            known = (*self.pids, 0x01)
            if pid and max(known) <= pid:
                return None
            chain = tuple(base for base in range(0x20, 0x100, 0x20) if max(known) > base)
            return supported((*known, *chain), pid)
        if pid == 0x01:
            stored = len(self.codes.get(0x03, ()))
            return bytes((stored | (0x80 if stored else 0),)) + self.monitors
        data = self.pids.get(pid)
        return data(t_ns) if callable(data) else data

    def _information(self, infotype: int) -> bytes | None:
        items = {0x02: self.vin.encode("ascii"), 0x0A: self._padded_name()}
        if infotype == 0x00:
            return b"\x49\x00" + supported(tuple(number for number, item in items.items() if item), 0)
        item = items.get(infotype)
        return bytes((0x49, infotype, 1)) + item if item else None

    def _padded_name(self) -> bytes:
        """Four characters, "-", fifteen characters, padded with zeros."""
        short, _, long = self.name.partition("-")
        return short.encode("ascii").ljust(4, b"\0") + b"-" + long.encode("ascii").ljust(15, b"\0") if short else b""


def code_bytes(code: str) -> bytes:
    """The two bytes of a trouble code: "P0301" is 03 01 (SAE J2012)."""
    return (("PCBU".index(code[0]) << 14) | int(code[1:], 16)).to_bytes(2, "big")


@dataclass
class _Transfer:
    """A long answer that waits for flow control."""

    until_ns: int
    frames: list[bytes]


class ControlUnits:
    """All control units of one bus."""

    def __init__(self, units: Sequence[ControlUnit]) -> None:
        self.units = tuple(units)
        self._due: list[Sent] = []
        self._transfers: dict[int, _Transfer] = {}

    def feed(self, t_ns: int, identifier: int, data: bytes) -> None:
        """A data frame that somebody else sent."""
        if not data:
            return
        for unit in self.units:
            is_alone = identifier == asking(unit.identifier)
            is_asked = is_alone or identifier == (ALL_29 if unit.identifier > LAST_11 else ALL_11)
            if is_alone and data[0] >> 4 == 3 and len(data) >= 3:
                self._flow(unit, t_ns, data)
            elif is_asked and 0 < data[0] < len(data):
                self._request(unit, t_ns, data[1 : 1 + data[0]])

    def due(self, until_ns: int) -> list[Sent]:
        """The frames that are sent up to `until_ns`, in order; each is given once."""
        frames = []
        while self._due and self._due[0].t_ns <= until_ns:
            frames.append(heapq.heappop(self._due))
        return frames

    @property
    def next_ns(self) -> int | None:
        """When the next frame is due, as far as known now."""
        return self._due[0].t_ns if self._due else None

    def _request(self, unit: ControlUnit, t_ns: int, request: bytes) -> None:
        service, conduct = request[0], unit.conduct
        at_ns = t_ns + conduct.delay_ns
        if service in conduct.silent:
            return
        if service in conduct.refuses:
            self._send(unit, at_ns, bytes((3, REFUSED, service, conduct.refuses[service])))
            return
        answer = unit.answer(request, t_ns)
        if answer is None:
            return
        if service in conduct.patience:
            self._send(unit, at_ns, bytes((3, REFUSED, service, PENDING)))
            at_ns += conduct.patience[service]
        frames = segments(answer)
        if service in conduct.breaks_off:
            frames = frames[:-1]
        if frames:
            self._send(unit, at_ns, frames[0])
        if frames[1:]:
            self._transfers[unit.identifier] = _Transfer(at_ns + FLOW_WAIT_NS, frames[1:])

    def _flow(self, unit: ControlUnit, t_ns: int, data: bytes) -> None:
        transfer = self._transfers.pop(unit.identifier, None)
        if transfer is None or t_ns > transfer.until_ns or data[0] & 15 > 1:
            return
        if data[0] & 15 == 1:
            self._transfers[unit.identifier] = _Transfer(t_ns + FLOW_WAIT_NS, transfer.frames)
            return
        block = data[1] or len(transfer.frames)
        apart_ns = max(unit.conduct.apart_ns, ns(data[2] / 1000) if data[2] < 0x80 else 0)
        for number, frame in enumerate(transfer.frames[:block], start=1):
            self._send(unit, t_ns + number * apart_ns, frame)
        if transfer.frames[block:]:
            last_ns = t_ns + block * apart_ns
            self._transfers[unit.identifier] = _Transfer(last_ns + FLOW_WAIT_NS, transfer.frames[block:])

    def _send(self, unit: ControlUnit, t_ns: int, data: bytes) -> None:
        heapq.heappush(self._due, Sent(t_ns, unit.identifier, data.ljust(8, b"\0")))


def asking(identifier: int) -> int:
    """Identifier on which the unit is asked that answers with `identifier`."""
    return identifier - 8 if identifier <= LAST_11 else 0x18DA00F1 | (identifier & 0xFF) << 8
