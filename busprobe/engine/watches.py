"""The watchers of a running engine: one or two for each check, one for each trigger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from busprobe.bench import nodes as n
from busprobe.bench.model import Check, Expect, Follows, Invariant, Text
from busprobe.bench.syntax import names_of, parse
from busprobe.bench.units import duration_text
from busprobe.checks.expect import ExpectWatch
from busprobe.checks.invariant import InvariantWatch
from busprobe.checks.network import Network
from busprobe.checks.occurrence import Terms
from busprobe.checks.trigger import TriggerWatch
from busprobe.checks.verdict import verdict
from busprobe.checks.watching import Say, Watched
from busprobe.engine.plan import CheckPlan, TriggerPlan
from busprobe.grown import order
from busprobe.results import CheckResult, Occurrence

SayFor = Callable[[tuple[str, ...]], Say]
"""From the names of some signals to what says them at a time."""


@dataclass(frozen=True)
class CheckWatch:
    """A check and what watches it: two watchers for `follows`, else one."""

    plan: CheckPlan
    watchers: tuple[ExpectWatch | InvariantWatch, ...]

    @property
    def when_known(self) -> bool:
        """Whether what puts it to the test was ever known."""
        return any(watcher.when_known for watcher in self.watchers)


def watch_check(plan: CheckPlan, network: Network, say_for: SayFor) -> CheckWatch:
    say = say_for(plan.signals)

    def watched(node: n.Condition) -> Watched:
        return Watched(network, network.add(node), n.is_event(node))

    check = plan.check
    if isinstance(check, Invariant):
        given = None if plan.when is None else watched(plan.when)
        return CheckWatch(plan, (InvariantWatch(watched(plan.then), given, check.settle_ns, say),))
    assert plan.when is not None
    if isinstance(check, Expect):
        terms = Terms(
            check.within_ns, check.not_before_ns, check.hold_ns, check.hold_while_when, check.settle_ns,
            check.already_counts, n.is_event(plan.when),
        )  # fmt: skip
        return CheckWatch(plan, (ExpectWatch(watched(plan.when), watched(plan.then), terms, say),))
    terms = Terms(
        check.on_within_ns,
        hold_while_when=check.hold_while_when,
        settle_ns=check.settle_ns,
        already_counts=check.already_counts,
        part="on",
    )
    back = replace(terms, within_ns=check.off_within_ns, part="off")
    no_when, no_then = n.Not(plan.when), n.Not(plan.then)
    return CheckWatch(
        plan,
        (
            ExpectWatch(watched(plan.when), watched(plan.then), terms, say),
            ExpectWatch(watched(no_when), watched(no_then), back, say),
        ),
    )


def watch_trigger(plan: TriggerPlan, network: Network, say_for: SayFor) -> TriggerWatch:
    trigger = plan.trigger
    on = Watched(network, network.add(plan.on), n.is_event(plan.on))
    keep = (trigger.keep_before_ns, trigger.keep_after_ns)
    say = say_for(plan.signals)
    return TriggerWatch(trigger.name, on, keep if any(keep) else None, say, is_marker=trigger.is_marker)


def result(
    plan: CheckPlan, occurrences: list[Occurrence], start_not_seen: int, glitches: int, *, when_known: bool = True
) -> CheckResult:
    """A check's result from all its occurrences."""
    check = plan.check
    occurrences = sorted(occurrences, key=order)
    if isinstance(check, Follows):
        occurrences = limited(check, occurrences)
    return CheckResult(
        check.name,
        verdict(occurrences, check.min_full, parts_of(check)),
        tuple(occurrences),
        kind(check),
        expected(check),
        limit(check),
        start_not_seen,
        glitches,
        check.min_full,
        when(check),
        when_known,
    )


def limited(check: Follows, occurrences: Sequence[Occurrence]) -> list[Occurrence]:
    """Each with the limit of its own part."""
    return [replace(o, limit_ns=_limit_of(check, o.part)) for o in occurrences]


def parts_of(check: Check) -> tuple[str, ...]:
    """Those that a pass takes passed ones of."""
    return ("on", "off") if isinstance(check, Follows) else ("",)


def kind(check: Check) -> str:
    match check:
        case Expect():
            return "expect"
        case Follows():
            return "follows"
        case Invariant():
            return check.kind


def when(check: Check) -> str:
    """What has to happen to put it to the test; empty for a `never` or `always` without `given`."""
    if isinstance(check, Invariant):
        return check.given.text if check.given is not None else ""
    return check.when.text


def limit(check: Check) -> int | None:
    match check:
        case Expect():
            return check.within_ns
        case Follows():
            return max(check.on_within_ns, check.off_within_ns)
        case Invariant():
            return None


def _limit_of(check: Follows, part: str) -> int:
    return check.on_within_ns if part == "on" else check.off_within_ns


def expected(check: Check) -> str:
    """What has to hold, as a sentence."""
    match check:
        case Expect():
            start = f"{duration_text(check.not_before_ns)} to " if check.not_before_ns else "within "
            text = f"{check.expect.text} {start}{duration_text(check.within_ns)} after {check.when.text}"
            if check.hold_while_when:
                text += ", held as long"
            if check.hold_ns is not None:
                text += f", held for {duration_text(check.hold_ns)}"
        case Follows():
            text = (
                f"{check.follows.text} follows {check.when.text}: on within {duration_text(check.on_within_ns)}, "
                f"off within {duration_text(check.off_within_ns)}"
            )
        case Invariant():
            text = f"{check.kind} {_bracketed(check.condition)}"
            if check.given is not None:
                text += f", given {_bracketed(check.given)}"
    return text + (f" (settles in {duration_text(check.settle_ns)})" if check.settle_ns else "")


def _bracketed(text: Text) -> str:
    """An expression, in brackets where a word before it could be read with its first part only."""
    return f"({text.text})" if len(names_of(parse(text))) > 1 else text.text
