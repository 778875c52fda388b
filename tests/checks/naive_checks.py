"""A slow second evaluator of checks over the grids of `naive`, from the words of DEVELOPERS.md alone."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import takewhile

from naive import ASLEEP, FALSE, TRUE, UNKNOWN, Functions, Grid, Points, evaluate, is_event, opposite


@dataclass(frozen=True)
class Check:
    """A check as in the bench file, with durations in ticks."""

    when: str | None = None
    expect: str | None = None
    follows: str | None = None
    never: str | None = None
    always: str | None = None
    given: str | None = None
    within: int = 0
    on_within: int = 0
    off_within: int = 0
    not_before: int = 0
    hold: int | str | None = None
    settle: int = 0
    already: bool = False
    min_full: int = 1


@dataclass(frozen=True, order=True)
class Found:
    """One occurrence, in ticks."""

    decided: int
    t: int
    outcome: str
    part: str = ""
    latency: int | None = None
    length: int | None = None
    uncertainty: int = 0
    tight: bool = False
    came: int | None = None
    never: bool = False


def judge(
    check: Check, signals: Mapping[str, Points], end: int, sampling: int = 0, functions: Functions | None = None
) -> tuple[list[Found], str, int]:
    """Occurrences in order, the verdict, and how often the start of `when` was not seen.

    sampling: ticks between the polls of every signal. functions: more functions of a condition.
    """
    unseen = 0
    if check.when is None:
        bad = evaluate(check.never or f"not ({check.always})", signals, end, functions)
        found = _invariant(check, bad, evaluate(check.given or "True", signals, end, functions), end)
    else:
        wanted = check.expect or check.follows
        assert wanted is not None
        when, expect = (evaluate(text, signals, end, functions) for text in (check.when, wanted))
        polled = _Polled(sampling, _times(check.when, signals), _times(wanted, signals))
        if check.follows is None:
            found, unseen = _expect(check, when, expect, end, polled)
        else:
            on, off = replace(check, within=check.on_within), replace(check, within=check.off_within)
            found, unseen = _expect(on, when, expect, end, polled, "on")
            found += _expect(off, _not(when), _not(expect), end, polled, "off")[0]
    found.sort(key=lambda f: (f.decided, f.t))
    return found, _verdict(found, check), unseen


@dataclass(frozen=True)
class _Polled:
    """What is needed to say how far before a change it may really have happened."""

    gap: int
    when: set[int]
    expect: set[int]
    """Ticks at which a signal of the condition was seen to change."""


def _times(text: str, signals: Mapping[str, Points]) -> set[int]:
    return {tick for name in re.findall(r"\w+", text) for tick, _ in signals.get(name, [])}


def _not(grid: Grid) -> Grid:
    return replace(grid, code=[opposite(c) for c in grid.code])


def _verdict(found: list[Found], check: Check) -> str:
    outcomes = [f.outcome for f in found]
    if "failed" in outcomes:
        return "fail"
    if "undecided" in outcomes:
        return "undecided"
    for part in ("on", "off") if check.follows else ("",):
        if len([f for f in found if f.part == part and f.outcome == "passed"]) < check.min_full:
            return "not exercised"
    return "pass"


def _expect(
    check: Check, when: Grid, expect: Grid, end: int, polled: _Polled, part: str = ""
) -> tuple[list[Found], int]:
    found, unseen = [], 0
    event = is_event(check.when or "")
    for tick in range(min(len(when.code), len(expect.code))):
        before, now = when.at(tick - 1), when.code[tick]
        if now == TRUE and (event or before == FALSE):
            occurrence = _Occurrence(check, when, expect, end, tick, event, polled, part)
            found.append(occurrence.outcome())
        elif now == TRUE and before in (UNKNOWN, ASLEEP):
            unseen += 1
    return found, unseen


@dataclass(frozen=True)
class _Occurrence:
    check: Check
    when: Grid
    expect: Grid
    end: int
    t0: int
    event: bool
    polled: _Polled
    part: str

    @property
    def ticks(self) -> int:
        """How many ticks can be told by the end of the data."""
        return min(len(self.when.code), len(self.expect.code))

    def found(self, outcome: str, tick: int) -> Found:
        told = max(tick, self.when.told[tick], self.expect.told[tick]) if tick < self.ticks else tick
        return Found(told, self.t0, outcome, self.part)

    def uncertainty(self, tick: int) -> int:
        """Of the time from the rise of `when` to a change of `expect`: each lies up to a gap before its tick."""
        return self.polled.gap * (self.t0 in self.polled.when or tick in self.polled.expect)

    def outcome(self) -> Found:
        if self.expect.code[self.t0] == TRUE:
            return self.held_from(self.t0, 0) if self.check.already else self.found("already so", self.t0)
        limit = self.t0 + self.check.within
        opens = self.t0 + self.check.not_before
        for tick in range(self.t0 + 1, limit + 1):
            if tick >= self.ticks:
                return self.found("cut short", self.end)
            if self.expect.code[tick] == TRUE and tick < opens:
                uncertainty = self.uncertainty(tick)
                return replace(self.found("failed", tick), uncertainty=uncertainty, tight=opens - tick < uncertainty)
            if self.expect.code[tick] == TRUE:
                return self.comes(tick, opens)
            if not self.event and self.when.code[tick] == FALSE:
                return self.found("cut short", tick)
        window = range(opens, limit + 1)
        if any(self.expect.code[t] > TRUE for t in window):
            return self.found("undecided", limit)
        return self.followed(self.found("failed", limit), limit)

    def followed(self, failed: Found, limit: int) -> Found:
        """What came of a failure after its limit."""
        last = self.t0 + 10 * self.check.within if self.event else self.ticks
        for tick in range(limit + 1, min(last + 1, self.ticks)):
            if self.expect.code[tick] > TRUE:
                break
            if self.expect.code[tick] == TRUE:
                uncertainty = self.uncertainty(tick)
                tight = tick - limit < uncertainty
                return replace(failed, came=tick - self.t0, uncertainty=uncertainty, tight=tight)
            if not self.event and self.when.code[tick] == FALSE:
                return replace(failed, never=True)
        return failed

    def comes(self, tick: int, opens: int) -> Found:
        """`expect` is true at a tick of the window, for the first time."""
        began = tick
        while began > self.t0 and self.expect.code[began - 1] > TRUE:
            began -= 1
        if began < tick and (began <= self.t0 or began < opens):
            return self.found("undecided", tick)
        return self.held_from(tick, tick - began)

    def held_from(self, passed: int, not_seen: int) -> Found:
        """Passed at a tick, after so many ticks of unknown; from there on it has to hold."""
        latency, uncertainty = passed - self.t0, self.uncertainty(passed) + not_seen
        margins = [self.check.within - latency]
        if self.check.not_before and latency:
            margins.append(latency - self.check.not_before)
        tight = min(margins) < uncertainty
        if self.check.hold is None:
            end = self.found("passed", passed)
        else:
            end, near_end = self.hold(passed)
            tight |= near_end
        if end.outcome == "cut short":
            return end
        return replace(end, latency=latency, uncertainty=uncertainty, tight=tight and end.outcome == "passed")

    def hold(self, passed: int) -> tuple[Found, bool]:
        """How the hold ends, and whether by a break so near its end that this is uncertain."""
        hold, settle = self.check.hold, self.check.settle
        while_when = hold == "while when"
        stops = [t for t in range(passed, self.ticks) if self.when.code[t] == FALSE]
        if not while_when:
            stops = [t for t in (passed + int(hold or 0),) if t < self.ticks]
        stop = stops[0] if stops else self.ticks
        undecided = near_end = False
        for tick in range(passed + 1, stop):
            state, before = self.expect.code[tick], self.expect.code[tick - 1]
            last = tick + settle
            if state == FALSE and before != FALSE and self.all_in(tick, last, stop, (FALSE,)):
                sure = tick + max(settle, self.uncertainty(tick))
                if while_when and self.when.code[tick] > TRUE:
                    undecided = True
                elif sure < stop:
                    return self.found("failed", sure), False
                else:
                    near_end = True
            if state != TRUE and before == TRUE:
                stretch = list(takewhile(lambda code: code != TRUE, self.expect.code[tick:stop]))
                undecided |= len(stretch) > settle and any(code > TRUE for code in stretch)
        if not stops and not while_when:
            return self.found("cut short", self.end), False
        return self.found("undecided" if undecided else "passed", stop if stops else self.end), near_end

    def all_in(self, first: int, last: int, stop: int, codes: tuple[int, ...]) -> bool:
        """Whether `expect` has only these codes from `first` to `last`, and `last` is still before the stop."""
        return last < stop and all(self.expect.code[t] in codes for t in range(first, last + 1))


def _stretches(states: list[bool]) -> list[tuple[int, int]]:
    """(first tick, first tick after it) of every unbroken stretch."""
    starts = [t for t, s in enumerate(states) if s and (t == 0 or not states[t - 1])]
    return [(a, next((t for t in range(a, len(states)) if not states[t]), len(states))) for a in starts]


def _invariant(check: Check, bad: Grid, given: Grid, end: int) -> list[Found]:
    ticks = min(len(bad.code), len(given.code))
    violated = [bad.code[t] == TRUE for t in range(ticks)]
    lost = [bad.code[t] == UNKNOWN and given.code[t] != FALSE for t in range(ticks)]
    found = []

    def told(t: int) -> int:
        return max(t, bad.told[t], given.told[t]) if t < ticks else end

    spoilt = []
    for outcome, states in (("failed", violated), ("undecided", lost)):
        for a, b in _stretches(states):
            if b - a > check.settle:
                length = (b if b < ticks else end) - a
                found.append(Found(told(a + check.settle), a, outcome, length=length))
                spoilt.append((a, b))
    if check.given:
        for a, b in _stretches([c == TRUE for c in given.code[:ticks]]):
            done = told(b) if b < ticks else end
            if any(x < b and y > a and x + check.settle < b for x, y in spoilt):
                continue
            slept = any(bad.code[t] == ASLEEP for t in range(a, b))
            found.append(Found(done, a, "cut short" if slept else "passed", length=(b if b < ticks else end) - a))
    known = [t for t in range(ticks) if bad.code[t] <= TRUE]
    if not known:
        found.append(Found(end, end, "undecided"))
    elif not found and not check.given:
        found.append(Found(end, known[0], "passed", length=end - known[0]))
    return found
