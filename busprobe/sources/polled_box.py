"""An input box that is asked for its lines again and again.

    |<- period ->|
    ask──answer  ask──answer  ask── (nothing)
        ^ the sample's time is the midpoint; the box looked at its lines somewhere from ask to answer

Between polls the box is complete to now: the next sample cannot be older. After a poll that
went wrong it is complete only to the newest sample, so that its lines become unknown and
nobody takes an old level for a new one.
"""

from __future__ import annotations

import time
from collections import deque
from dataclasses import dataclass
from statistics import median
from typing import Protocol

from busprobe.bench.model import InputBox
from busprobe.bench.units import duration_text
from busprobe.errors import DeviceError
from busprobe.frames import InputBatch
from busprobe.health import FaultTally, Health
from busprobe.sources.box_batch import Sample, input_batch
from busprobe.sources.clock import Clock
from busprobe.sources.live import batch_end_ns
from busprobe.sources.pace import Pace
from busprobe.sources.wire_time import MS_NS

FAULTS_IN_A_ROW = 10
"""So many polls that went wrong and the box counts as gone."""
FIRST_POLLS = 3
"""So many polls may go wrong while the box is opened."""
SLOWEST_NS = 1_000_000_000
"""An answer that took longer has no time: the computer slept meanwhile."""
USUAL = 9
"""An answer is compared with this many before it ..."""
MANY_TIMES, BESIDES_NS = 4, 20_000_000
"""... and left out where it took so many times their median and this much more: the program was held up."""
LATE_ANSWER = "late answer"
"""A kind of fault."""
NEWEST = 100
"""The uncertainty is the greatest of this many polls."""


@dataclass(frozen=True)
class Poll:
    """One answer of a box."""

    request_ns: int
    answer_ns: int
    mask: int
    """Bit k is the level of on/off line k."""
    millivolts: tuple[int, ...] = ()

    @property
    def t_ns(self) -> int:
        return (self.request_ns + self.answer_ns) // 2

    @property
    def half_ns(self) -> int:
        """The box looked at its lines this much before or after `t_ns` at most."""
        return (self.answer_ns - self.request_ns + 1) // 2


@dataclass(frozen=True)
class Fault:
    """A poll that went wrong, though the box may answer the next one."""

    kind: str
    """"time-out", "damaged answer"; one word for many takes an s."""
    text: str
    hint: str


class Poller(Protocol):
    """What a driver adds: how one kind of box is asked."""

    def connect(self) -> None:
        """Open the port. Raises DeviceError."""
        ...

    def poll(self, clock: Clock) -> Poll | Fault:
        """Ask once. Raises DeviceError if the box is gone."""
        ...

    def disconnect(self) -> None:
        """Harmless twice."""
        ...


class PolledBox:
    """A live source of a box that is asked; see `LiveSource`."""

    def __init__(self, box: InputBox, poller: Poller, *, analogue: int = 0, half_ns: int = 0, late_ns: int = 0) -> None:
        """analogue: how many analogue lines a sample has. half_ns: half of what asking takes at least.
        late_ns: how old its answer may be besides.
        """
        self._box = box
        self._poller = poller
        self._analogue = analogue
        self._half_ns = half_ns
        self._late_ns = late_ns
        self._health = Health(uncertainty_ns=half_ns + late_ns)

    @property
    def name(self) -> str:
        return self._box.name

    def health(self) -> Health:
        return self._health

    def open(self, clock: Clock) -> None:
        self._clock = clock
        self._pace = Pace()
        self._halves: deque[int] = deque(maxlen=NEWEST)
        self._usual: deque[int] = deque(maxlen=USUAL)
        self._faults = 0
        self._tally = FaultTally()
        self._health = Health(uncertainty_ns=self._half_ns + self._late_ns)
        self._poller.connect()
        for left in reversed(range(FIRST_POLLS)):
            fault = self._ask()
            if isinstance(fault, Poll):
                break
            if not left:
                self._poller.disconnect()
                raise DeviceError(fault.text, hint=fault.hint)
        self._due_ns = self._complete_ns = clock.now_ns()

    def close(self) -> None:
        self._poller.disconnect()

    def read(self) -> InputBatch:
        polls: list[Poll] = []
        end_ns = batch_end_ns(self._clock.now_ns())
        fault: Fault | None = None
        while self._wait(end_ns, 0 if not polls else polls[-1].answer_ns - polls[-1].request_ns):
            answer = self._ask()
            if isinstance(answer, Fault):
                fault = answer
                break
            if self._was_held_up(answer):
                continue
            polls.append(answer)
            if self._faults:
                # It answers again: say so at once.
                break
        self._count(polls, fault)
        if fault is not None and self._faults >= FAULTS_IN_A_ROW:
            raise DeviceError(f"{fault.text} That was so {self._faults} times in a row.", hint=fault.hint)
        samples = [Sample(poll.t_ns, poll.mask, poll.millivolts) for poll in polls]
        return input_batch(self._box.name, samples, self._analogue, self._complete_ns)

    def _was_held_up(self, poll: Poll) -> bool:
        """Whether an answer took so much longer than usual that nobody knows when in that time the box looked."""
        took_ns = poll.answer_ns - poll.request_ns
        usual_ns = median(self._usual) if len(self._usual) == USUAL else took_ns
        self._usual.append(took_ns)
        return took_ns > MANY_TIMES * usual_ns + BESIDES_NS

    def _ask(self) -> Poll | Fault:
        answer = self._poller.poll(self._clock)
        if isinstance(answer, Poll) and answer.answer_ns - answer.request_ns > SLOWEST_NS:
            took = duration_text((answer.answer_ns - answer.request_ns) // MS_NS * MS_NS)
            return Fault(
                LATE_ANSWER,
                f'An answer of the input box "{self.name}" came after {took} and is left out.',
                'Make "timeout" shorter, if the computer did not sleep meanwhile.',
            )
        return answer

    def _wait(self, end_ns: int, takes_ns: int) -> bool:
        """Wait until the next poll is due; False if it is not before the end of the batch, or not over by then.

        takes_ns: how long an answer of this batch took; what is done so far is not to wait for one that ends late.
        """
        now_ns = self._clock.now_ns()
        if now_ns >= end_ns or (takes_ns and max(self._due_ns, now_ns) < end_ns < max(self._due_ns, now_ns) + takes_ns):
            return False
        if self._due_ns >= end_ns:
            time.sleep((end_ns - now_ns) / 1e9)
            return False
        if self._due_ns > now_ns:
            time.sleep((self._due_ns - now_ns) / 1e9)
        self._due_ns = max(self._due_ns + self._box.period_ns, now_ns)
        return True

    def _count(self, polls: list[Poll], fault: Fault | None) -> None:
        """Take note of what a read gave."""
        state = self._health.state
        if fault is not None:
            self._faults, state = self._faults + 1, fault.text
            self._tally.note(fault.kind, fault.text, fault.hint)
        elif polls:
            self._faults, state = 0, ""
        self._pace.add(poll.t_ns for poll in polls)
        self._halves.extend(poll.half_ns for poll in polls)
        self._health = Health(
            records=self._health.records + len(polls),
            errors=self._tally.count,
            uncertainty_ns=max([self._half_ns, *self._halves]) + self._late_ns,
            period_ns=self._pace.period_ns,
            state=state,
            faults=self._tally.found,
        )
        if polls:
            self._complete_ns = polls[-1].t_ns
        if not self._faults:
            self._complete_ns = self._clock.now_ns()
