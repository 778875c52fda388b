"""A bench file joined with its databases: every signal, check and trigger resolved."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from busprobe.bench import nodes as n
from busprobe.bench.expression import bind, bind_levels, parse
from busprobe.bench.model import Bench, Check, Derived, Expect, Follows, Invariant, Signal, SignalType, Text, Trigger
from busprobe.checks.network import DerivedSignal
from busprobe.decode.layout import Database
from busprobe.engine.signal_plan import SignalPlan, plan_signal
from busprobe.errors import BenchError


@dataclass(frozen=True)
class CheckPlan:
    check: Check
    when: n.Condition | None
    """`when` of expect and follows, `given` of never and always."""
    then: n.Condition
    """`expect`, `follows`, or the violation of never and always."""
    signals: tuple[str, ...]
    """Every signal named, those behind derived ones too."""


@dataclass(frozen=True)
class TriggerPlan:
    trigger: Trigger
    on: n.Condition
    signals: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    bench: Bench
    signals: Mapping[str, SignalPlan]
    derived: Mapping[str, DerivedSignal]
    checks: tuple[CheckPlan, ...]
    triggers: tuple[TriggerPlan, ...]

    @cached_property
    def aged(self) -> frozenset[str]:
        """Signals whose every sample is wanted, for `age`."""
        return frozenset(node.signal for top in self.expressions() for node in n.walk(top) if isinstance(node, n.Age))

    @cached_property
    def models(self) -> Mapping[str, Signal]:
        """The signals as the bench file has them, by name."""
        return {signal.name: signal for signal in self.bench.signals}

    def expressions(self) -> Iterable[n.Node]:
        for plan in self.checks:
            yield plan.then
            if plan.when is not None:
                yield plan.when
        for trigger in self.triggers:
            yield trigger.on
        for derived in self.derived.values():
            yield derived.node


def build(bench: Bench, databases: Mapping[str, Sequence[Database]]) -> Plan:
    """Join a bench file with the databases of its buses (bus name -> databases).

    Raises BenchError where a message, signal, label or unit does not exist or does not fit.
    """
    signals = {s.name: plan_signal(s, bench, databases) for s in bench.signals}
    types: dict[str, SignalType] = {name: s.type for name, s in signals.items()}
    types |= {d.name: SignalType(is_condition=True) for d in bench.derived}
    derived = {d.name: _derived(d, types) for d in bench.derived}
    return Plan(
        bench,
        signals,
        derived,
        tuple(_check(c, types, derived) for c in bench.checks),
        tuple(_trigger(t, types, derived) for t in bench.triggers),
    )


def _derived(made: Derived, types: Mapping[str, SignalType]) -> DerivedSignal:
    if made.above is None:
        return DerivedSignal(bind(parse(made.when), types))
    node, above, below_again = bind_levels(parse(made.when), made.above, made.below_again, types)
    return DerivedSignal(node, above, below_again)


def _check(check: Check, types: Mapping[str, SignalType], derived: Mapping[str, DerivedSignal]) -> CheckPlan:
    when: n.Condition | None = None
    match check:
        case Expect():
            when, then = bind(parse(check.when), types), bind(parse(check.expect), types)
            if check.hold_while_when:
                _refuse_event(check.when, when)
        case Follows():
            when, then = bind(parse(check.when), types), bind(parse(check.follows), types)
            _refuse_event(check.when, when)
        case Invariant():
            then = bind(parse(check.condition), types)
            when = None if check.given is None else bind(parse(check.given), types)
            if check.given is not None and when is not None:
                _refuse_event(check.given, when)
            if check.kind == "always":
                then = n.Not(then)
    return CheckPlan(check, when, then, _names([then] if when is None else [when, then], derived))


def _refuse_event(text: Text, node: n.Condition) -> None:
    if n.is_event(node):
        raise BenchError(
            f'"{text.text}" holds only for an instant, so nothing can last as long as it does.',
            path=text.origin.path,
            line=text.origin.line,
            column=text.origin.column,
            hint='Write a lasting condition here, or give "hold" as a duration.',
        )


def _trigger(trigger: Trigger, types: Mapping[str, SignalType], derived: Mapping[str, DerivedSignal]) -> TriggerPlan:
    on = bind(parse(trigger.on), types)
    return TriggerPlan(trigger, on, _names([on], derived))


def _names(tops: Sequence[n.Node], derived: Mapping[str, DerivedSignal]) -> tuple[str, ...]:
    """Signals of some expressions, each derived one followed by those that it is made from."""
    names: dict[str, None] = {}
    for top in tops:
        for name in n.signals_of(top):
            names[name] = None
            if name in derived:
                names.update(dict.fromkeys(_names([derived[name].node], derived)))
    return tuple(names)
