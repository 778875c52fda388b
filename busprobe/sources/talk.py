"""An OBD request that is out, and the control units that answer it.

    7E8  03 7F 09 78          pending: the unit may now take 5 s
    7E8  10 14 49 02 01 ..    first frame: flow control goes to 7E0, at most 1 s to the next frame
    7E9  03 7F 09 11          refused

Each unit has an endpoint of can-isotp that puts its frames together and calls for the rest of a
long answer. Frames that answer something else are left alone: another tester may have asked,
and its answers must not get flow control from here. All times are stamps of frames.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Collection
from typing import Final

import isotp

from busprobe.obd_identifiers import asking, is_extended
from busprobe.sources.exchange import REFUSED, Answer, Exchange

ANSWERED: Final = 0x40
"""Added to the service in a positive answer."""
PENDING: Final = 0x78
NUMBERED: Final = frozenset({0x01, 0x09})
"""Services whose request names PIDs or an information type."""

ANSWER_NS: Final = 200_000_000
"""A unit has 50 ms to answer (P2); gateways and adapters on the way get the rest (common practice, no source)."""
PENDING_NS: Final = 5_000_000_000
"""What a unit may take after asking for patience (P2*)."""
NEXT_FRAME_NS: Final = 1_000_000_000
"""Longest time from one frame of a message to its next (N_Cr)."""

_SINGLE, _FIRST, _CONSECUTIVE = 0, 1, 2
"""Kinds of frames, by the high half of byte 0 (ISO 15765-2)."""
_LOGGER: Final = "busprobe.isotp"
logging.getLogger(_LOGGER).addHandler(logging.NullHandler())
_PARAMS: Final = {
    "stmin": 0,
    "blocksize": 0,
    "tx_padding": 0x00,
    "tx_data_min_length": 8,
    "rx_consecutive_frame_timeout": 3_600_000,  # judged here, by the stamps of the frames
    "logger_name": _LOGGER,
}

_BEGUN_ANEW: Final = (
    isotp.errors.ReceptionInterruptedWithFirstFrameError,
    isotp.errors.ReceptionInterruptedWithSingleFrameError,
)

SendFrame = Callable[[int, bytes], object]
"""Sends a frame on an identifier."""


class Talk:
    """One request that was sent at `sent_ns` on `identifier`."""

    def __init__(self, request: bytes, identifier: int, sent_ns: int, send: SendFrame) -> None:
        self.request = request
        self.identifier = identifier
        self._sent_ns = self._out_ns = sent_ns
        self._send = send
        self._units: dict[int, _Unit] = {}
        self._answers: list[Answer] = []

    def went_out(self, sent_ns: int, out_ns: int) -> None:
        """When the adapter was given the request, and when it had taken it: the units' time counts from there."""
        self._sent_ns, self._out_ns = sent_ns, max(sent_ns, out_ns)

    def take(self, t_ns: int, unit_id: int, data: bytes) -> None:
        """A frame of a control unit."""
        kind = data[0] >> 4 if data else None
        unit = self._units.get(unit_id)
        if kind in (_SINGLE, _FIRST):
            if not self._is_answer(data[1 if kind == _SINGLE else 2 :]):
                return
            if unit is None:
                unit = self._units[unit_id] = _Unit(unit_id, self._send)
        elif kind != _CONSECUTIVE or unit is None or not unit.is_open:
            return
        for payload in unit.take(t_ns, data, begins=kind == _FIRST):
            if payload[:1] == bytes((REFUSED,)) and payload[2:3] == bytes((PENDING,)):
                unit.pending_ns = t_ns
            else:
                unit.pending_ns = None
                self._answers.append(Answer(unit_id, t_ns, payload))

    def deadline_ns(self) -> int:
        """Until when something may still come."""
        return max([self._out_ns + ANSWER_NS, *(unit.until_ns for unit in self._units.values())])

    def has_all(self, expected: Collection[int]) -> bool:
        """Whether all units expected have answered and none is still at it; never without any expected."""
        answered = {answer.unit_id for answer in self._answers}
        return bool(expected) and answered.issuperset(expected) and all(u.is_done for u in self._units.values())

    def result(self, trouble: str = "") -> Exchange:
        """What came of it, if nothing more comes."""
        units = self._units.items()
        return Exchange(
            self.request,
            self.identifier,
            self._sent_ns,
            tuple(self._answers),
            tuple(unit_id for unit_id, unit in units if unit.is_open or unit.was_broken),
            tuple(unit_id for unit_id, unit in units if unit.pending_ns is not None and not unit.is_open),
            trouble,
        )

    def _is_answer(self, payload: bytes) -> bool:
        service = self.request[0]
        if payload[0:1] == bytes((REFUSED,)):
            return payload[1:2] == bytes((service,))
        if payload[0:1] != bytes((service + ANSWERED,)):
            return False
        return service not in NUMBERED or payload[1:2] in [self.request[k : k + 1] for k in range(1, len(self.request))]


class _Unit:
    """A control unit that answers."""

    def __init__(self, unit_id: int, send: SendFrame) -> None:
        self._unit_id = unit_id
        self._send = send
        self._inbox: deque[isotp.CanMessage] = deque()
        self._ready: list[bytes] = []
        self._last_ns = 0
        self.is_open = False
        """A long answer was begun."""
        self.was_broken = False
        self.pending_ns: int | None = None
        """When it asked for patience, until it answers."""
        mode = isotp.AddressingMode.Normal_29bits if is_extended(unit_id) else isotp.AddressingMode.Normal_11bits
        self._layer = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self._inbox.popleft() if self._inbox else None,
            txfn=self._out,
            address=isotp.Address(mode, rxid=unit_id, txid=asking(unit_id)),
            error_handler=self._fault,
            params=dict(_PARAMS),
        )

    @property
    def is_done(self) -> bool:
        return not self.is_open and self.pending_ns is None

    @property
    def until_ns(self) -> int:
        """Until when it may go on; 0 where nothing is open."""
        if self.is_open:
            return self._last_ns + NEXT_FRAME_NS
        return self.pending_ns + PENDING_NS if self.pending_ns is not None else 0

    def take(self, t_ns: int, data: bytes, *, begins: bool) -> list[bytes]:
        """The payloads that this frame completes."""
        if self.is_open and not begins and t_ns - self._last_ns > NEXT_FRAME_NS:
            self._break()
            return []
        self.is_open = begins or self.is_open
        self._last_ns = t_ns
        self._inbox.append(isotp.CanMessage(self._unit_id, len(data), data, is_extended(self._unit_id)))
        while self._inbox:
            self._layer.process()
        payloads = []
        while (payload := self._layer.recv()) is not None:
            payloads.append(bytes(payload))
        if payloads:
            self.is_open = self.was_broken = False
        return payloads

    def _out(self, message: isotp.CanMessage) -> None:
        self._send(message.arbitration_id, bytes(message.data))

    def _fault(self, error: Exception) -> None:
        if not isinstance(error, _BEGUN_ANEW):
            self._break()

    def _break(self) -> None:
        self._layer.stop_receiving()
        self.is_open, self.was_broken = False, True
