"""A bus in simulated time: control units, a requester, and whoever else sends."""

import heapq

import numpy as np

from busprobe.errors import DeviceError
from busprobe.frames import EXTENDED, FrameBatch
from busprobe.sources.permit import SendPermit
from busprobe.sources.requests import Requester
from busprobe.van.control_units import ControlUnit, ControlUnits

MS = 1_000_000
START = 1_760_000_000_000_000_000
PERMIT = SendPermit("body", "standard OBD requests")


def batch_of(frames, complete_to_ns=None, channel="body"):
    """A batch of (t_ns, identifier, bytes[, flags]); identifiers above 7FF have 29 bits."""
    rows = [(t, i, bytes(d), (*flags, 0)[0]) for t, i, d, *flags in frames]
    return FrameBatch(
        np.array([t for t, *_ in rows], np.int64),
        (channel,),
        np.zeros(len(rows), np.uint8),
        np.array([i for _, i, *_ in rows], np.uint32),
        np.array([flags | (EXTENDED if i > 0x7FF else 0) for _, i, _, flags in rows], np.uint8),
        np.array([len(d) for _, _, d, _ in rows], np.uint8),
        np.array([int.from_bytes(d, "little") for _, _, d, _ in rows], np.uint64),
        None,
        complete_to_ns,
    )


def padded(text):
    return bytes.fromhex(text).ljust(8, b"\0")


class ObdBus:
    """Frames of others, and time that passes in steps.

    echoes: what the requester sends comes back, as some adapters do it.
    """

    def __init__(self, *units: ControlUnit, echoes: bool = False, step_ms: int = 20):
        self.now_ns = START
        self.units = ControlUnits(units)
        self.echoes = echoes
        self.step_ns = step_ms * MS
        self.sent: list[tuple[int, int, bytes]] = []
        """(ms since the start, identifier, data) of what the requester sent."""
        self.is_gone = False
        self._others: list[tuple[int, int, bytes]] = []

    def others(self, ms, identifier, text):
        """A frame that somebody else sends, that many ms after the start."""
        heapq.heappush(self._others, (START + round(ms * MS), identifier, padded(text)))

    def send(self, identifier, data, permit, *, extended=False):
        assert permit == PERMIT
        assert extended == (identifier > 0x7FF)
        if self.is_gone:
            raise DeviceError('The adapter of the bus "body" is gone.')
        self.sent.append((self.ms, identifier, data))
        self.units.feed(self.now_ns, identifier, data)
        if self.echoes:
            heapq.heappush(self._others, (self.now_ns + MS // 10, identifier, data))
        return self.now_ns

    def advance(self):
        """What comes in the next step."""
        end_ns = self.now_ns + self.step_ns
        frames = []
        while self._others and self._others[0][0] <= end_ns:
            frames.append(heapq.heappop(self._others))
        for frame in frames:
            self.units.feed(*frame)
        self.now_ns = end_ns
        frames += self.units.due(end_ns)
        return batch_of(sorted(frames), complete_to_ns=end_ns)

    @property
    def ms(self):
        return (self.now_ns - START) // MS

    def requester(self, listen_ns=0, *, wakes=True):
        return Requester(self, PERMIT, listen_ns, wakes=wakes)

    def turn(self, requester):
        requester.feed(self.advance())
        return requester.step(self.now_ns)

    def exchange(self, requester, request, expected=()):
        """Ask, and wait for the end of it."""
        requester.ask(bytes.fromhex(request), expected)
        for _ in range(2000):
            found = self.turn(requester)
            if found is not None:
                return found
        raise AssertionError("the exchange does not end")


def answers(exchange):
    """(unit, answer) in hex."""
    return [(f"{one.unit_id:X}", one.payload.hex(" ").upper()) for one in exchange.answers]


def requests_sent(bus):
    """Requests, without flow control: (identifier, request) in hex."""
    return [(f"{i:X}", d[1 : 1 + d[0]].hex(" ").upper()) for _, i, d in bus.sent if d[0] < 8]
