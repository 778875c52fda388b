"""OBD-II from traffic on the bus, without sending anything (ISO 15765-4, SAE J1979).

    (000.100) can0 7DF#02010D0000000000      request of some tester: service 01, PID 0D
    (000.112) can0 7E8#03410D3C00000000      answer of unit 7E8: vehicle speed 60 km/h
    (000.200) can0 7E8#1014490201314D38      first frame of a longer answer, here the VIN

The listener picks these frames out of each batch, puts longer messages together, finds the
request of each answer and decodes it. It keeps only what is open, so that any chunking of the
same frames gives the same records.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from busprobe.decode.answers import Codes, Identity, Negative, Reading, Record, Request
from busprobe.decode.isotp import Kind, Message, Reassembler
from busprobe.decode.negative import PENDING
from busprobe.decode.pairing import P2_NS, Pairing
from busprobe.decode.services import ANSWERED, FREEZE_FRAME, NUMBERED, REFUSED, Answer, Tally, read_answer
from busprobe.frames import SENT, FrameBatch
from busprobe.obd_identifiers import is_answer, obd_rows

__all__ = ["Codes", "Identity", "Listener", "Negative", "Reading", "Record", "Request"]

MOST_PARTS = 64
"""Frames of one message that are kept to be shown: enough for any answer of service 01."""


class Listener:
    """Decodes the OBD traffic of all channels, batch by batch.

    p2_ns: longest time from a request to the first frame of its answer.
    """

    def __init__(self, p2_ns: int = P2_NS) -> None:
        self._messages = Reassembler()
        self._parts: dict[tuple[str, int], list[bytes]] = {}
        """Frames of messages that are not whole yet."""
        self._pairing = Pairing(p2_ns)
        self._tally = Tally()
        self._newest_ns: int | None = None

    @property
    def broken(self) -> int:
        """Messages of several frames that were begun and never completed."""
        return 0 if self._newest_ns is None else self._messages.broken(self._newest_ns)

    @property
    def unknown_pids(self) -> Counter[int]:
        """PID of unknown length -> answers of which the rest could not be read."""
        return self._tally.unknown_pids

    @property
    def malformed(self) -> int:
        """Answers with fewer or more bytes than their own fields call for."""
        return self._tally.malformed

    def feed(self, batch: FrameBatch) -> list[Record]:
        """The records of the messages that this batch completes, in its order."""
        newest = batch.complete_to
        if newest is not None:
            self._newest_ns = newest if self._newest_ns is None else max(self._newest_ns, newest)
        rows = obd_rows(batch)
        if not len(rows):
            return []
        records: list[Record] = []
        for t_ns, channel, identifier, was_sent, data in _frames(batch.take(rows)):
            sender = (channel, identifier)
            message = self._messages.add(sender, t_ns, data)
            if message is None:
                self._keep_part(sender, data)
                continue
            if is_answer(identifier):
                parts = self._parts.pop(sender, [])
                frames = (*parts, data) if data[0] >> 4 == Kind.CONSECUTIVE.value else (data,)
                records += self._answer(t_ns, channel, identifier, message, frames)
            else:
                request = _request(t_ns, channel, identifier, message.payload, was_sent)
                self._pairing.add(request)
                records.append(request)
        return records

    def _keep_part(self, sender: tuple[str, int], data: bytes) -> None:
        """A frame that completes no message: kept where it may belong to one."""
        kind = data[0] >> 4 if data else None
        if kind == Kind.FIRST.value:
            self._parts[sender] = [data]
        elif kind == Kind.CONSECUTIVE.value and len(self._parts.get(sender, ())) in range(1, MOST_PARTS):
            self._parts[sender].append(data)

    def _answer(
        self, t_ns: int, channel: str, unit_id: int, message: Message, frames: tuple[bytes, ...]
    ) -> list[Record]:
        payload = message.payload
        service, number = _asked(payload)
        request_t_ns = self._pairing.request_of(channel, unit_id, service, number, message.first_ns)
        records = read_answer(Answer(t_ns, channel, unit_id, payload, request_t_ns, frames), self._tally)
        if payload[0] == REFUSED and payload[2:3] == bytes((PENDING,)):
            self._pairing.wait(channel, unit_id, service, t_ns)
        return records


def _asked(payload: bytes) -> tuple[int, int | None]:
    """Service that an answer answers, and the first PID or information type where it has one."""
    if payload[0] == REFUSED:
        return payload[1] if len(payload) > 1 else 0, None
    service = payload[0] - ANSWERED
    return service, payload[1] if service in NUMBERED and len(payload) > 1 else None


def _request(t_ns: int, channel: str, identifier: int, payload: bytes, was_sent: bool) -> Request:
    service, numbers = payload[0], payload[1:]
    if service == FREEZE_FRAME:
        numbers = numbers[::2]
    pids = tuple(numbers) if service in NUMBERED else ()
    return Request(t_ns, channel, identifier, service, pids, was_sent)


def _frames(batch: FrameBatch) -> Iterator[tuple[int, str, int, bool, bytes]]:
    """Time, channel, identifier, sent by us, payload of each frame."""
    words = batch.words().astype("<u8", copy=False)
    stride, payloads = 8 * words.shape[1], words.tobytes()
    columns = (batch.t_ns, batch.channel, batch.identifier, batch.flags & SENT, batch.length)
    for row, (t_ns, channel, identifier, sent, length) in enumerate(zip(*(c.tolist() for c in columns), strict=True)):
        start = row * stride
        yield t_ns, batch.channels[channel], identifier, sent != 0, payloads[start : start + length]
