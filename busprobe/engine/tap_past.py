"""What is kept of one tap of a signal for looking back: why it gave no value, its samples, its OBD messages."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import NamedTuple, TypeVar

import numpy as np

from busprobe.decode.answers import Reading, Request
from busprobe.engine.signal_plan import MessageTap, ObdTap
from busprobe.engine.taps import AnyTap, SampledTap
from busprobe.engine.why import ADAPTER_DOWN, NOT_AGAIN, NOT_SEEN, UNREADABLE, Out, excused
from busprobe.frames import Int64Array
from busprobe.timeline import ASLEEP, FOREVER, NEVER, NO_TIMES, TRUE, Changes

MOST_MESSAGES = 50_000
"""Requests and answers kept; of more the older half is forgotten."""

Message = TypeVar("Message", Reading, Request)


class Age(NamedTuple):
    """How old a sample may get."""

    ns: int | None = None
    """None: it holds while its bus is awake."""
    from_ns: int = NEVER
    """Samples before this time do not age: the message's cycle was still being learnt."""
    is_fixed: bool = False
    """False: still being learnt."""


class TapPast:
    """`take` from one thread, the rest from any."""

    def __init__(self) -> None:
        self.age = Age()
        self._upto_ns = NEVER
        self._words: list[tuple[int, str]] = [(NEVER, NOT_SEEN)]
        """From each time on, why it gave no value; empty while it gave one."""
        self._samples: Int64Array = NO_TIMES
        self._answers: list[Reading] = []
        self._requests: list[Request] = []

    def take(self, tap: AnyTap, upto_ns: int) -> None:
        """What a tap has taken in since the last time, its timeline up to a time."""
        line = tap.timeline
        if upto_ns > self._upto_ns:
            if line.t_ns[-1] >= self._upto_ns:
                self._tell(line.between(self._upto_ns, upto_ns), tap.why_unknown)
            self._upto_ns = upto_ns
        if not isinstance(tap, SampledTap):
            return
        if tap.downs:
            self._tell_of_return(tap.downs)
        if not self.age.is_fixed:
            self.age = Age(tap.max_age.ns, tap.max_age.from_ns, tap.max_age.is_fixed)
        found = tap.source.tap
        if isinstance(found, ObdTap):
            self.sampled(tap.newest)
            self.heard(tap.told)
        elif isinstance(found, MessageTap) and found.layout.multiplexer:
            self.sampled(tap.newest)  # other frames of its identifier do not have it

    def sampled(self, t_ns: Int64Array) -> None:
        """Times of samples, all after those so far; of taps whose age nothing else tells."""
        if len(t_ns):
            self._samples = np.concatenate([self._samples, t_ns])

    def heard(self, messages: Sequence[Reading | Request]) -> None:
        """OBD messages about its quantity, in order of time."""
        for message in messages:
            if isinstance(message, Request):
                self._requests.append(message)
            else:
                self._answers.append(message)
        self._answers, self._requests = _newest(self._answers), _newest(self._requests)

    def word_at(self, t_ns: int) -> str:
        """Why it gave no value at a time: "lost", "box down", "asleep" ...; empty where it gave one."""
        words = self._words
        return words[max(bisect_right(words, t_ns, key=itemgetter(0)) - 1, 0)][1]

    def since(self, t_ns: int, word: str) -> int:
        """When it last began to say a word, up to a time; `NEVER`: it did not."""
        words = self._words
        earlier = reversed(words[: bisect_right(words, t_ns, key=itemgetter(0))])
        return next((since_ns for since_ns, said in earlier if said == word), NEVER)

    def last_sample(self, t_ns: int) -> int | None:
        """Time of the newest sample at or before a time, of those given."""
        samples = self._samples
        place = int(np.searchsorted(samples, t_ns, "right")) - 1
        return int(samples[place]) if place >= 0 else None

    def max_age_at(self, t_ns: int) -> int | None:
        """How old a sample of a time may get, as far as known then."""
        return self.age.ns if t_ns >= self.age.from_ns else None

    def answer_at(self, t_ns: int) -> Reading | None:
        """The newest answer at or before a time."""
        return _last(self._answers, t_ns)

    def request_at(self, t_ns: int) -> Request | None:
        """The newest request heard at or before a time."""
        return _last(self._requests, t_ns)

    def forget(self, before_ns: int) -> None:
        """Drop what was before a time, but for the word that holds there."""
        self._samples = self._samples[int(np.searchsorted(self._samples, before_ns)) :]
        self._answers = [a for a in self._answers if a.t_ns >= before_ns]
        self._requests = [r for r in self._requests if r.t_ns >= before_ns]
        self._words = self._words[max(bisect_right(self._words, before_ns, key=itemgetter(0)) - 1, 0) :]

    def _tell(self, part: Changes, why: Callable[[int], str]) -> None:
        out = part.code > TRUE
        if not self._words[-1][1] and not out.any():
            return
        told = out.copy()
        told[1:] |= out[:-1]
        told[:1] = True
        for place in np.flatnonzero(told).tolist():
            t_ns, code = int(part.t_ns[place]), int(part.code[place])
            word = "" if code <= TRUE else why(t_ns) if code != ASLEEP else excused(t_ns)
            if word != self._words[-1][1]:
                self._words.append((t_ns, word))

    def _tell_of_return(self, downs: Sequence[Out]) -> None:
        """An adapter that came back before a sample did."""
        for place in range(len(self._words) - 1, -1, -1):
            t_ns, word = self._words[place]
            if word in (ADAPTER_DOWN, UNREADABLE):
                back = next((one.end_ns for one in downs if one.start_ns <= t_ns < one.end_ns), FOREVER)
                after = self._words[place + 1][0] if place + 1 < len(self._words) else self._upto_ns
                if back < after:
                    self._words.insert(place + 1, (back, NOT_AGAIN))
                return


def _newest(messages: list[Message]) -> list[Message]:
    return messages[-MOST_MESSAGES // 2 :] if len(messages) > MOST_MESSAGES else messages


def _last(messages: Sequence[Message], t_ns: int) -> Message | None:
    place = bisect_right(messages, t_ns, key=lambda m: m.t_ns) - 1
    return messages[place] if place >= 0 else None
