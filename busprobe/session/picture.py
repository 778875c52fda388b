"""Pure parts of a snapshot: signals, frames and checks at one instant."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from math import isnan
from typing import NamedTuple

from busprobe.bench.model import Derived, Expect, Follows, Invariant
from busprobe.bench.nodes import signals_of
from busprobe.checks.verdict import verdict
from busprobe.engine.because import Said
from busprobe.engine.history import History, Past
from busprobe.engine.plan import Plan
from busprobe.engine.signal_plan import LineTap, SignalPlan
from busprobe.engine.steps import decimals_of, number_text
from busprobe.engine.why import CHATTERING
from busprobe.results import CheckResult
from busprobe.session.origin import Origin
from busprobe.session.overdue import unknown_from
from busprobe.session.snapshot import Kind, SignalNow
from busprobe.session.strips import SLICE_NS, SLICES, Strips
from busprobe.timeline import NEVER, TRUE


def value_text(
    code: int,
    value: float,
    is_condition: bool,
    texts: Mapping[float, str],
    unit: str | None,
    why: str = "",
    places: int | None = None,
) -> str:
    """A value as a person reads it. why: the reason where it is none. places: decimals, where they are known."""
    if code > TRUE:
        return f"unknown ({why})" if why else "unknown"
    if is_condition:
        return "on" if code == TRUE else "off"
    if value in texts:
        return texts[value]
    return f"{number_text(value, places)} {unit}" if unit else number_text(value, places)


class About(NamedTuple):
    """What of a signal never changes."""

    name: str
    role: str | None
    kind: Kind
    source: str
    """Of a derived one."""
    is_condition: bool
    texts: Mapping[float, str]
    unit: str | None
    labels: tuple[str, ...]
    places: int | None = None
    """Decimals of its values; None: not known."""


def about(name: str, plan: Plan, outputs: frozenset[str]) -> About:
    """A signal of the bench, or a derived one."""
    signal = plan.signals.get(name)
    if signal is None:
        made = next(d for d in plan.bench.derived if d.name == name)
        return About(name, made.role, Kind.DERIVED, derived_text(made), True, {}, None, ())
    model, texts = plan.models[name], signal.texts
    return About(
        name, model.role, _kind(signal, name in outputs), "", signal.type.is_condition, texts,
        signal.type.unit, tuple(dict.fromkeys(texts.values())), decimals_of(signal),
    )  # fmt: skip


def derived_text(made: Derived) -> str:
    """What a derived signal is made from: "speed, on above 8 km/h, off below 5 km/h"."""
    if made.above is None:
        return made.when.text
    return f"{made.when.text}, on above {made.above.text}, off below {(made.below_again or made.above).text}"


def signal_now(
    of: About,
    history: History,
    strips: Strips,
    t_ns: int,
    origin: Origin | None,
    said: Said,
    poll_ns: int | None = None,
    over_ns: int | None = None,
    past: Past | None = None,
) -> SignalNow:
    """One signal of the bench at an instant. origin: None for a derived one.

    said: whether it is unknown, and why. poll_ns: of its input lines. over_ns: since when it is overdue, if it is.
    past: another one than the history has.
    """
    if over_ns is not None:
        past = unknown_from(past or history.past, over_ns, (t_ns // SLICE_NS - SLICES) * SLICE_NS)
    strip = partial(strips.at, t_ns, past)
    past = past or history.past
    index = past.index_at(t_ns)
    code, value, since = said.code, float(past.value[index]), int(past.t_ns[index])
    newest_ns = None if origin is None else origin.newest_ns
    if said.why == CHATTERING and origin is not None:
        since = origin.past.since(t_ns, CHATTERING)  # each of its bursts is a point of the past
    return SignalNow(
        of.name,
        of.role,
        of.kind,
        of.source if origin is None else origin.source,
        code,
        of.is_condition,
        None if code > TRUE or isnan(value) else value,
        value_text(code, value, of.is_condition, of.texts, of.unit, said.why, of.places),
        of.unit,
        None if since == NEVER else since,
        None if newest_ns is None else max(t_ns - newest_ns, 0),
        None if origin is None else origin.max_age_ns,
        int(past.edges[index]),
        strip,
        of.labels,
        history.bounce_at(t_ns)._replace(is_chattering=said.why == CHATTERING),
        "" if origin is None else origin.instead,
        poll_ns,
        said.why,
    )


def _kind(signal: SignalPlan, is_output: bool) -> Kind:
    if isinstance(signal.sources[0].tap, LineTap):
        return Kind.OUTPUT if is_output else Kind.LINE
    return Kind.BUS


def outputs(plan: Plan) -> frozenset[str]:
    """Signals that checks expect something of, and that cause nothing: outputs of the controller."""
    expected: set[str] = set()
    causes: set[str] = set()
    for check in plan.checks:
        expected |= set(signals_of(check.then))
        if check.when is not None and not isinstance(check.check, Invariant):
            causes |= set(signals_of(check.when))
    for derived in plan.derived.values():
        causes |= set(signals_of(derived.node))
    return frozenset(expected - causes)


class ChecksAt:
    """The checks with what was decided up to a time; unchanged ones stay the same object."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._cache: list[tuple[CheckResult, int, CheckResult] | None] = [None] * len(plan.checks)

    def at(self, checks: Sequence[CheckResult], t_ns: int) -> tuple[CheckResult, ...]:
        return tuple(self._one(i, check, t_ns) for i, check in enumerate(checks))

    def _one(self, i: int, check: CheckResult, t_ns: int) -> CheckResult:
        count = bisect_right(check.occurrences, t_ns, key=lambda o: o.decided_ns)
        cached = self._cache[i]
        if cached is not None and cached[0] is check and cached[1] == count:
            return cached[2]
        occurrences = check.occurrences[:count]
        model = self._plan.checks[i].check
        parts = ("on", "off") if isinstance(model, Follows) else ("",)
        made = replace(check, occurrences=occurrences, verdict=verdict(occurrences, model.min_full, parts))
        self._cache[i] = (check, count, made)
        return made


def condition_names(plan: Plan) -> dict[str, tuple[str, int, str]]:
    """Names under which the conditions of checks and triggers are kept: name -> (kind, place, part)."""
    names = {}
    for i, check in enumerate(plan.checks):
        names[f"check {i} then"] = ("check", i, "then")
        if check.when is not None:
            names[f"check {i} when"] = ("check", i, "when")
    for i, _ in enumerate(plan.triggers):
        names[f"trigger {i} on"] = ("trigger", i, "on")
    return names


def new_histories(plan: Plan) -> dict[str, History]:
    """Empty histories for every signal, derived signal and condition of a plan."""
    histories = {name: History(signal.type.is_condition) for name, signal in plan.signals.items()}
    histories |= {name: History(True) for name in plan.derived}
    return histories | {name: History(True) for name in condition_names(plan)}


def kind_words(check: Expect | Follows | Invariant) -> tuple[str, str]:
    """The words before the two conditions of a check: ("when", "expect")."""
    match check:
        case Expect():
            return "when", "expect"
        case Follows():
            return "when", "follows"
        case Invariant():
            return "given", check.kind
