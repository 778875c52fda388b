"""When busprobe may ask on a bus: seldom, never beside J1939 traffic or another tester, nor once it sleeps.

other tester   02 01 0D ...... 02 01 0C ............................
busprobe                          | quiet for 5 s |  02 01 0C   02 01 0D
                                                     |  100 ms |
"""

from __future__ import annotations

from collections import deque
from contextlib import suppress

import numpy as np

from busprobe.bench.hardware import MOST_REQUESTS_PER_S
from busprobe.frames import ERROR, LATE, SENT, FrameBatch
from busprobe.health import MOST_ASKED, OtherTester
from busprobe.obd_identifiers import answer_rows, is_answer, obd_rows, request_rows
from busprobe.sources.j1939 import J1939Watch, j1939_text

APART_NS = 1_000_000_000 // MOST_REQUESTS_PER_S
"""From one request to the next."""
QUIET_NS = 5_000_000_000
"""Before the first request, and after another tester's last frame, the bus is only listened to for
this long: control units end a talk after 5 s of silence (S3 of ISO 14229-2, from memory)."""
GAP_NS = 1_000_000_000
"""A bus that was not heard for longer is listened to anew."""
ECHO_NS = 1_000_000_000
"""Some adapters hand back what was sent; such a copy comes within this time."""
STRAY_NS = 6_000_000_000
"""An answer this long after the last frame of ours was not asked for by us: a unit may take 5 s."""
ASLEEP_NS = 2_000_000_000
"""A bus that has carried nothing but OBD traffic for this long is asleep: requests would keep it awake
(common practice, no source)."""
BACK_OFF_NS = (500_000_000, 1_000_000_000, 2_000_000_000, 5_000_000_000, 10_000_000_000)
"""Waits after frames that the adapter did not take, one after the other; the last one repeats."""
RATE_OVER = 50
"""Requests over which the rate of another tester is taken."""
_SINGLE, _FIRST = 0, 1
"""Kinds of frames that begin a message, by the high half of byte 0 (ISO 15765-2)."""


class Pace:
    """Keeps requests apart, and further apart while the adapter takes none."""

    def __init__(self, apart_ns: int = APART_NS) -> None:
        self._apart_ns = apart_ns
        self._next_ns: int | None = None
        self._failed = 0

    def is_due(self, now_ns: int) -> bool:
        return self._next_ns is None or now_ns >= self._next_ns

    def note(self, sent_ns: int) -> None:
        """A request was sent, or is about to be."""
        self._next_ns = max(self._next_ns or 0, sent_ns + self._apart_ns)

    def note_failed(self, now_ns: int) -> None:
        """A frame was not taken; it may have gone out all the same."""
        self.note(now_ns)
        self._next_ns = max(self._next_ns or 0, now_ns + BACK_OFF_NS[min(self._failed, len(BACK_OFF_NS) - 1)])
        self._failed += 1

    def note_taken(self) -> None:
        """The adapter takes frames (again)."""
        self._failed = 0


class RequestWatch:
    """Notices requests and flow control that others send, and answers that nobody here asked for."""

    def __init__(self) -> None:
        self._own: deque[tuple[int, int, int]] = deque()
        """(identifier, payload word, time) of frames of ours that may yet be handed back."""
        self._identifiers: dict[int, None] = {}
        self._asked: dict[str, None] = {}
        self._times: deque[int] = deque(maxlen=RATE_OVER)
        self._own_ns: int | None = None
        self._own_before_ns: int | None = None
        self._requests = 0
        self._strays = 0
        self._first_ns = 0
        self._last_ns: int | None = None

    def note_own(self, identifier: int, data: bytes, t_ns: int) -> None:
        """A frame of ours goes out."""
        self._forget_own(t_ns)
        self._own.append((identifier, int.from_bytes(data, "little"), t_ns))
        self._own_before_ns, self._own_ns = self._own_ns, t_ns

    def take_back(self, identifier: int, data: bytes, t_ns: int) -> None:
        """A frame of ours that was noted at `t_ns` did not go out."""
        with suppress(ValueError):  # long ago, or it has come back: it went out after all
            self._own.remove((identifier, int.from_bytes(data, "little"), t_ns))
            if self._own_ns == t_ns:
                self._own_ns = self._own_before_ns

    def is_asking(self, now_ns: int) -> bool:
        return self._last_ns is not None and now_ns - self._last_ns < QUIET_NS

    def feed(self, batch: FrameBatch) -> None:
        """Frames of one bus, in their order; those flagged as sent are our own."""
        rows = np.union1d(request_rows(batch), answer_rows(batch))
        columns = (batch.t_ns, batch.identifier, batch.flags, batch.length, batch.payload)
        for t_ns, identifier, flags, length, word in zip(*(c[rows].tolist() for c in columns), strict=True):
            if is_answer(identifier):
                self._answer(t_ns)
            elif flags & SENT:
                self._own_ns = t_ns
            elif not self._is_own(t_ns, identifier, word):
                self._note(t_ns, identifier, word.to_bytes(8, "little")[:length])

    @property
    def seen(self) -> OtherTester | None:
        """Who else has asked since the start, None if nobody."""
        if self._last_ns is None:
            return None
        span_ns = self._times[-1] - self._times[0] if self._times else 0
        rate = (len(self._times) - 1) * 1e9 / span_ns if span_ns > 0 else None
        return OtherTester(
            tuple(self._identifiers), self._requests, self._first_ns, self._last_ns, rate, tuple(self._asked),
            self._strays,
        )  # fmt: skip

    def _answer(self, t_ns: int) -> None:
        if self._own_ns is None or t_ns - self._own_ns > STRAY_NS:
            self._heard(t_ns)
            self._strays += 1

    def _is_own(self, t_ns: int, identifier: int, word: int) -> bool:
        self._forget_own(t_ns)
        for place, (own_identifier, own_word, _) in enumerate(self._own):
            if (own_identifier, own_word) == (identifier, word):
                del self._own[place]
                return True
        return False

    def _forget_own(self, t_ns: int) -> None:
        while self._own and t_ns - self._own[0][2] > ECHO_NS:
            self._own.popleft()

    def _heard(self, t_ns: int) -> None:
        if self._last_ns is None:
            self._first_ns = t_ns
        self._last_ns = t_ns if self._last_ns is None else max(self._last_ns, t_ns)

    def _note(self, t_ns: int, identifier: int, data: bytes) -> None:
        self._heard(t_ns)
        self._identifiers.setdefault(identifier)
        kind = data[0] >> 4 if data else None
        if kind not in (_SINGLE, _FIRST):
            return
        self._requests += 1
        self._times.append(t_ns)
        asked = data[1 : 1 + (data[0] & 15)] if kind == _SINGLE else data[2:]
        if len(self._asked) < MOST_ASKED:
            self._asked.setdefault(asked.hex(" ").upper())


class SleepWatch:
    """Notices that all that a bus carries besides OBD has ended: it is asleep but for those who ask."""

    def __init__(self) -> None:
        self._newest_ns: int | None = None
        """Of the frames that have nothing to do with OBD; None: there was none, as behind a gateway."""

    def feed(self, batch: FrameBatch) -> None:
        """All frames of one bus, in their order."""
        is_other = (batch.flags & np.uint8(ERROR | SENT | LATE)) == 0
        is_other[obd_rows(batch)] = False
        if is_other.any():
            newest_ns = int(batch.t_ns[is_other].max())
            self._newest_ns = max(newest_ns, self._newest_ns or newest_ns)

    def is_asleep(self, now_ns: int) -> bool:
        return self._newest_ns is not None and now_ns - self._newest_ns > ASLEEP_NS


class Manners:
    """Says whether busprobe may ask on the bus `bus` now.

    wakes: ask also while it is asleep, as where a vehicle is asked once and for nothing else.
    """

    def __init__(self, bus: str, listen_ns: int = QUIET_NS, *, wakes: bool = True) -> None:
        self.testers = RequestWatch()
        self.pace = Pace()
        self._bus = bus
        self._listen_ns = listen_ns
        self._j1939 = J1939Watch()
        self._sleep = None if wakes else SleepWatch()
        self._since_ns: int | None = None
        """Since when the bus has been heard without a gap."""
        self._heard_ns = 0

    def feed(self, batch: FrameBatch) -> None:
        """All frames of the bus, in their order; batches without frames too."""
        self._j1939.feed(batch)
        self.testers.feed(batch)
        if self._sleep is not None:
            self._sleep.feed(batch)
        heard_ns = batch.complete_to
        if heard_ns is not None:
            if self._since_ns is None or heard_ns - self._heard_ns > GAP_NS:
                self._since_ns = heard_ns
            self._heard_ns = max(heard_ns, self._heard_ns)

    def is_listening(self, now_ns: int) -> bool:
        """Whether the bus has not been listened to for long enough, or not lately: who asks may be unread yet."""
        if not self._listen_ns:
            return False
        is_new = self._since_ns is None or now_ns - self._since_ns < self._listen_ns
        return is_new or now_ns - self._heard_ns > GAP_NS

    @property
    def j1939(self) -> str:
        """Why nothing is ever asked: J1939 traffic was seen; empty if there was none."""
        if self._j1939.seen is None:
            return ""
        found = j1939_text(self._j1939.seen)
        return f'The bus "{self._bus}" carries J1939 traffic ({found}): nothing is asked there.'

    def refusal(self, now_ns: int) -> str:
        """Why nothing is asked now, one sentence; empty if there is no reason."""
        if self.j1939:
            return self.j1939
        if self.testers.is_asking(now_ns):
            return f'Another tester asks on the bus "{self._bus}": its answers are used, nothing is asked beside it.'
        if self.is_listening(now_ns):
            return f'The bus "{self._bus}" is listened to for {self._listen_ns / 1e9:g} s before anything is asked.'
        if self._sleep is not None and self._sleep.is_asleep(now_ns):
            return f'The bus "{self._bus}" is asleep: nothing is asked, so as not to keep it awake, until it wakes up.'
        return ""
