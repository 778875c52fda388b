"""The checks `never` and `always`, with or without `given`."""

from __future__ import annotations

from dataclasses import dataclass, replace

from busprobe.checks.watching import Say, Watched, Watcher, is_known_in, merged
from busprobe.results import Occurrence, Outcome, SignalTexts
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN


@dataclass
class _Stretch:
    """A run of violation, of unknown, or of `given`."""

    start_ns: int
    signals: SignalTexts | None = None
    told: bool = False
    """Its outcome is in `done` already, the newest there; only its length is open."""
    is_spoilt: bool = False
    """Of `given`: something in it was violated or unknown."""
    slept: bool = False
    """Of `given`: the bus slept in it, so that nothing can be said."""


class InvariantWatch(Watcher):
    """Watches a violation: what must never hold, or the contrary of what must always hold."""

    def __init__(self, violation: Watched, given: Watched | None, settle_ns: int, say: Say) -> None:
        super().__init__(violation, *([given] if given is not None else []))
        self._has_given = given is not None
        self._settle = settle_ns
        self._say = say
        self._violation: _Stretch | None = None
        self._unknown: _Stretch | None = None
        self._given: _Stretch | None = None
        self._known_from: int | None = None
        self._put = violation if given is None else given
        self.when_known = False
        """Whether `given`, else the condition itself, was ever known."""
        self.done: list[Occurrence] = []
        self._told = 0
        """How many were decided and taken."""

    @property
    def final(self) -> int:
        """All but one whose length is still open."""
        is_open = any(s is not None and s.told for s in (self._violation, self._unknown))
        return len(self.done) - is_open

    def take(self, count: int) -> list[Occurrence]:
        self._told += count
        return super().take(count)

    def close(self) -> None:
        self._violation = self._unknown = None

    def _judge(self, start_ns: int, end_ns: int) -> None:
        if start_ns < self.starts_ns:
            # What no signal decides held before the data began; it is judged from there on.
            start_ns = self.starts_ns
            for w in self._watched:
                w.code = w.timeline.code_at(self.starts_ns)
            self._at(self.starts_ns, *(w.code for w in self._watched))
        self.when_known = self.when_known or is_known_in(self._put, start_ns, end_ns)
        for t, codes in merged(self._watched, start_ns, end_ns):
            self._until(t)
            self._at(t, *codes)
        self._until(end_ns)

    def _until(self, t: int) -> None:
        """Everything before `t` is seen: tell the stretches that have become too long."""
        for stretch, outcome in ((self._violation, Outcome.FAILED), (self._unknown, Outcome.UNDECIDED)):
            if stretch is not None and not stretch.told and t > stretch.start_ns + self._settle:
                self._tell(stretch, outcome)

    def _tell(self, stretch: _Stretch, outcome: Outcome) -> None:
        stretch.told = True
        if self._given is not None:
            self._given.is_spoilt = True
        note = "" if outcome is Outcome.FAILED else "unknown"
        decided = self.decided_at(stretch.start_ns + self._settle)
        self.done.append(
            Occurrence(
                stretch.start_ns, decided, outcome, at_ns=stretch.start_ns, note=note, signals=stretch.signals,
            )
        )  # fmt: skip

    def _at(self, t: int, code: int, given: int | None = None) -> None:
        if code <= TRUE and self._known_from is None:
            self._known_from = t
        self._violation = self._run(self._violation, t, code == TRUE)
        self._unknown = self._run(self._unknown, t, code == UNKNOWN and given != FALSE)
        if given == TRUE:
            if self._given is None:
                self._given = _Stretch(t)
            told = [s for s in (self._violation, self._unknown) if s is not None and s.told]
            self._given.is_spoilt |= bool(told)
            self._given.slept |= code == ASLEEP
        elif self._given is not None:
            self._end_given(t, self.decided_at(t))

    def _run(self, stretch: _Stretch | None, t: int, goes_on: bool) -> _Stretch | None:
        if goes_on:
            return stretch if stretch is not None else _Stretch(t, self._say(t))
        if stretch is not None:
            self._end(stretch, t)
        return None

    def _end(self, stretch: _Stretch, t: int) -> None:
        if stretch.told:
            self.done[-1] = replace(self.done[-1], length_ns=t - stretch.start_ns)

    def _end_given(self, t: int, decided: int, note: str = "") -> None:
        stretch, self._given = self._given, None
        if stretch is not None and not stretch.is_spoilt:
            length = t - stretch.start_ns
            outcome = Outcome.CUT if stretch.slept else Outcome.PASSED
            note = "the bus fell asleep" if stretch.slept else note
            self.done.append(Occurrence(stretch.start_ns, decided, outcome, length_ns=length, note=note))

    def finish(self, end_ns: int) -> None:
        """The data end at `end_ns`: close what is open, and say what held all along."""
        for stretch in (self._violation, self._unknown):
            if stretch is not None:
                self._end(stretch, end_ns)
        self._end_given(end_ns, end_ns, note="so far: the data ended")
        if self._known_from is None:
            self.done.append(
                Occurrence(end_ns, end_ns, Outcome.UNDECIDED, note="never known", signals=self._say(end_ns))
            )
        elif not self._has_given and not self.done and not self._told:
            start = self._known_from
            self.done.append(Occurrence(start, end_ns, Outcome.PASSED, length_ns=end_ns - start))
