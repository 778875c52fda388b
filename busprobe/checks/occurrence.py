"""One occurrence of `when ... expect ... within ... hold`, from its rise to its outcome.

when     ____|‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾|_____
             t0
window       [ not_before ... within ]
expect   ___________|‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾|___
                    t1
hold                [.... while when .....]
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from busprobe.checks.doubt import Doubt, between
from busprobe.results import Occurrence, Outcome, SignalTexts
from busprobe.timeline import FALSE, TRUE

MISSED = "not within the time allowed"
EARLY = "early"
FOLLOWED = 10
"""A failure is followed until `when` falls; after an event for this many times the limit."""


@dataclass(frozen=True)
class Terms:
    """What a check demands of each occurrence; times in ns."""

    within_ns: int
    not_before_ns: int = 0
    hold_ns: int | None = None
    hold_while_when: bool = False
    settle_ns: int = 0
    already_counts: bool = False
    when_is_event: bool = False
    part: str = ""


class Surroundings(Protocol):
    """What an occurrence asks of the check that it belongs to."""

    def decided_at(self, t_ns: int) -> int: ...
    def say(self, t_ns: int) -> SignalTexts: ...
    def expect_doubt_at(self, t_ns: int) -> Doubt: ...


class OpenOccurrence:
    """Fed with every change of `when` and `expect`; `result` is set when it is over."""

    def __init__(self, terms: Terms, around: Surroundings, t_ns: int, expect: int, when_doubt: Doubt) -> None:
        self.terms = terms
        self.t0 = t_ns
        self.result: Occurrence | None = None
        self._around = around
        self.when_doubt = when_doubt
        self._uncertainty = 0
        self._latency: int | None = None
        self._tight = False
        self._saw_unknown = False
        self._unknown_from: int | None = t_ns if expect > TRUE else None
        """Start of the stretch at hand that is unknown; in the hold, not true and in part unknown."""
        self._unknown_at = t_ns
        self._unknown_signals = around.say(t_ns) if expect > TRUE else None
        """Start of the unknown that made it undecided, or of the newest one; what the signals said there."""
        self._not_true_from: int | None = None
        self._expect = TRUE
        self._break_from: int | None = None
        self._break_uncertainty = 0
        """Of the time from the rise of `when` to the break."""
        self._break_is_long = False
        self._break_signals: SignalTexts | None = None
        self._hold_end: int | None = None
        if expect == TRUE and terms.already_counts:
            self._pass(t_ns, note="already so")
        elif expect == TRUE:
            self._close(Outcome.ALREADY, t_ns)

    @property
    def _is_holding(self) -> bool:
        return self._latency is not None

    def until(self, t_ns: int) -> None:
        """Everything before `t_ns` is seen, nothing having changed since the last call; `result` is None."""
        if self._is_holding:
            self._hold_until(t_ns)
        elif t_ns > self.t0 + self.terms.within_ns:
            self._miss(self.t0 + self.terms.within_ns)

    def at(self, t_ns: int, when: int, expect: int) -> None:
        """What holds from `t_ns` on; `until(t_ns)` was called before."""
        if self.result is not None:
            return
        if self._is_holding:
            self._hold_at(t_ns, when, expect)
        else:
            self._window_at(t_ns, when, expect)

    def finish(self, end_ns: int) -> None:
        """The data end; `until(end_ns + 1)` was called before; `result` is None."""
        if self._is_holding and self.terms.hold_while_when:
            self._hold_over(end_ns, note="so far: the data ended")
        else:
            self._close(Outcome.CUT, end_ns, note="the data ended")

    # The window: waiting for `expect`.

    def _window_at(self, t: int, when: int, expect: int) -> None:
        opens = self.t0 + self.terms.not_before_ns
        lost = self._unknown_from
        if expect == TRUE and t < opens:
            self._fail_early(t, opens - t)
        elif expect == TRUE and lost is not None and (lost <= self.t0 or lost < opens):
            self._close(Outcome.UNDECIDED, t, note="not seen to become so")
        elif expect == TRUE:
            self._uncertainty += 0 if lost is None else t - lost
            self._pass(t)
            if when == FALSE and self.terms.hold_while_when:
                self._hold_over(t)
        elif when == FALSE and not self.terms.when_is_event:
            self._close(Outcome.CUT, t)
        elif expect == FALSE:
            self._saw_unknown |= lost is not None and t > opens
            self._unknown_from = None
        elif lost is None:
            self._unknown_from = t
            self._note_unknown(t)

    def _fail_early(self, t: int, lead: int) -> None:
        """`expect` came `lead` ns before it was allowed to."""
        self._uncertainty = between(self.when_doubt, self._around.expect_doubt_at(t))
        self._tight = lead < self._uncertainty
        self._close(Outcome.FAILED, t, note=EARLY)

    def _miss(self, end: int) -> None:
        if self._saw_unknown or self._unknown_from is not None:
            self._close(Outcome.UNDECIDED, end, at=self._unknown_at, note="unknown within the time allowed")
        else:
            self._close(Outcome.FAILED, end, note=MISSED)

    def _note_unknown(self, t: int) -> None:
        if not self._saw_unknown:
            self._unknown_at, self._unknown_signals = t, self._around.say(t)

    def _pass(self, t: int, note: str = "") -> None:
        terms = self.terms
        self._latency = t - self.t0
        self._uncertainty += between(self.when_doubt, self._around.expect_doubt_at(t))
        margin = terms.within_ns - self._latency
        if terms.not_before_ns and self._latency:
            margin = min(margin, self._latency - terms.not_before_ns)
        self._tight = margin < self._uncertainty
        self._unknown_from = None
        self._saw_unknown = False
        if terms.hold_ns is not None:
            self._hold_end = t + terms.hold_ns
        elif not terms.hold_while_when:
            self._close(Outcome.PASSED, t, note=note)

    # The hold: `expect` has to stay.

    def _hold_until(self, t: int) -> None:
        end = self._hold_end
        seen = t if end is None else min(t, end)
        if self._unknown_from is not None and seen > self._unknown_from + self.terms.settle_ns:
            self._saw_unknown = True
        broken_at = self._broken_at()
        if broken_at is not None and t > broken_at and (end is None or broken_at < end):
            self._close(Outcome.FAILED, broken_at, at=self._break_from, note="did not hold")
        elif end is not None and t > end:
            self._hold_over(end)

    def _broken_at(self) -> int | None:
        """When the break at hand counts: longer than `settle`, and not just the uncertain end."""
        if self._break_from is None:
            return None
        return self._break_from + max(self.terms.settle_ns, self._break_uncertainty)

    def _hold_at(self, t: int, when: int, expect: int) -> None:
        if self.terms.hold_while_when and when == FALSE:
            self._hold_over(t)
            return
        if expect == TRUE:
            self._not_true_from = self._unknown_from = None
        elif self._not_true_from is None:
            self._not_true_from = t
        breaks = expect == FALSE and self._expect != FALSE
        is_judged = when == TRUE or not self.terms.hold_while_when
        self._expect = expect
        if expect > TRUE or (breaks and not is_judged):
            if self._unknown_from is None:
                self._note_unknown(t)
            self._unknown_from = self._not_true_from
        if breaks and is_judged and self._break_from is None:
            self._break_from, self._break_signals = t, self._around.say(t)
            self._break_uncertainty = between(self.when_doubt, self._around.expect_doubt_at(t))
        elif expect != FALSE and self._break_from is not None:
            self._break_is_long |= t > self._break_from + self.terms.settle_ns
            if not self._break_is_long:
                self._break_from = None

    def _hold_over(self, end: int, note: str = "") -> None:
        if self._break_from is not None and end > self._break_from + self.terms.settle_ns:
            self._tight = True
        if self._saw_unknown:
            self._close(Outcome.UNDECIDED, end, at=self._unknown_at, note="unknown while it had to hold")
        else:
            self._close(Outcome.PASSED, end, note=note)

    def _close(self, outcome: Outcome, decided: int, *, at: int | None = None, note: str = "") -> None:
        shows = outcome in {Outcome.FAILED, Outcome.UNDECIDED}
        at = decided if at is None and shows else at
        signals = self._signals_at(at, decided) if shows else None
        is_early = note == EARLY
        self.result = Occurrence(
            t_ns=self.t0,
            decided_ns=self._around.decided_at(decided),
            outcome=outcome,
            part=self.terms.part,
            latency_ns=self._latency,
            uncertainty_ns=self._uncertainty if self._latency is not None or is_early else 0,
            tight=self._tight and (outcome is Outcome.PASSED or is_early),
            at_ns=at,
            note=note,
            signals=signals,
        )

    def _signals_at(self, at: int | None, decided: int) -> SignalTexts:
        """What the signals said at the break or the loss, told when it happened, else at the decision."""
        if at == self._unknown_at and self._unknown_signals is not None:
            return self._unknown_signals
        if at == self._break_from and self._break_signals is not None:
            return self._break_signals
        return self._around.say(decided)


class Overdue:
    """A failure "not within the time allowed", followed to see whether `expect` comes after all."""

    def __init__(self, missed: OpenOccurrence, failed: Occurrence, place: int) -> None:
        self.failed = failed
        self.place = place
        """Index of the failure among what is done."""
        self.is_over = False
        self._terms = missed.terms
        self._when_doubt = missed.when_doubt

    def at(self, t_ns: int, when: int, expect: int, expect_doubt_at: Callable[[int], Doubt]) -> None:
        """What holds from `t_ns` on; nothing is said of what comes too late or was not seen to come."""
        waited = t_ns - self.failed.t_ns
        self.is_over = True
        too_late = self._terms.when_is_event and waited > FOLLOWED * self._terms.within_ns
        if too_late or expect > TRUE:
            return
        if expect == TRUE:
            uncertainty = between(self._when_doubt, expect_doubt_at(t_ns))
            tight = waited - self._terms.within_ns < uncertainty
            self.failed = replace(self.failed, came_after_ns=waited, uncertainty_ns=uncertainty, tight=tight)
        elif when == FALSE and not self._terms.when_is_event:
            self.failed = replace(self.failed, never_came=True)
        else:
            self.is_over = False
