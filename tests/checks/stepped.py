"""Checks over literal step signals: the bench that the table of semantics is tried on.

A signal is written as its change points in ms: "0 F, 1000 T, 1300 ?" (F false, T true, ? unknown,
z asleep, a number for a quantity in V). It is asleep before its first point.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from busprobe.bench.load import loads
from busprobe.checks.doubt import NO_DOUBT, Doubt
from busprobe.checks.network import Network
from busprobe.checks.watching import Watcher
from busprobe.engine.plan import Plan, build
from busprobe.engine.watches import result, watch_check, watch_trigger
from busprobe.results import CheckResult, Outcome, TriggerEntry
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN, Changes, Timeline

MS = 1_000_000
CODES = {"F": FALSE, "T": TRUE, "?": UNKNOWN, "z": ASLEEP}


class StepLeaf:
    """A signal made of literal points. sampling: ms from the sample before each change."""

    def __init__(self, text: str, *, quantity: bool, sampling_ms: float) -> None:
        self.timeline = Timeline(quantity=quantity)
        self.samples: Timeline | None = Timeline()
        self._gap = round(sampling_ms * MS)
        points = [p.split() for p in text.split(",") if p.strip()]
        self.t = np.array([round(float(at) * MS) for at, _ in points], np.int64)
        if quantity:
            self.value: Any = np.array([np.nan if v in CODES else float(v) for _, v in points])
            self.code = np.array([CODES.get(v, TRUE) for _, v in points], np.uint8)
        else:
            self.value = None
            self.code = np.array([CODES[v] for _, v in points], np.uint8)

    def advance(self, upto: int) -> None:
        start, end = np.searchsorted(self.t, (self.timeline.upto_ns, upto))
        value = None if self.value is None else self.value[start:end]
        self.timeline.extend(Changes(self.t[start:end], self.code[start:end], value, upto))
        assert self.samples is not None
        self.samples.extend(Changes(self.t[start:end], np.full(end - start, TRUE, np.uint8), None, upto))

    def doubt_at(self, t_ns: int) -> Doubt:
        return Doubt(self._gap) if self._gap and self.timeline.changed_at(t_ns) else NO_DOUBT

    def sampling_at(self, t_ns: int) -> int:
        return self._gap


def plan(signals: Mapping[str, str], rest: str) -> Plan:
    """A bench file with one input line for each signal, and the checks given as TOML."""
    lines, entries = [], []
    for number, (name, text) in enumerate(signals.items()):
        analogue = "analogue = true" if is_quantity(text) else ""
        lines.append(f'[[inputs.line]]\nname = "{name}_wire"\nnumber = {number}\n{analogue}\n')
        entries.append(f'{name} = {{ from = "box.{name}_wire" }}\n')
    head = '[vehicle]\nname = "steps"\n[[inputs]]\nname = "box"\ndriver = "modbus"\nport = "x"\nperiod = "1 ms"\n'
    return build(loads(head + "".join(lines) + "[signals]\n" + "".join(entries) + rest), {})


def is_quantity(text: str) -> bool:
    return any(p.split()[1] not in CODES for p in text.split(",") if p.strip())


def run(
    signals: Mapping[str, str],
    rest: str,
    end_ms: float,
    *,
    cuts_ms: Sequence[float] = (),
    sampling_ms: float = 0.0,
    after_piece: Callable[[int, Sequence[Watcher]], None] = lambda _upto_ns, _watchers: None,
) -> tuple[list[CheckResult], list[TriggerEntry]]:
    """Evaluate all checks and triggers; the data begin at 0, end at `end_ms` and come in pieces cut at `cuts_ms`.

    after_piece: called with the time up to which the data were given, and all watchers.
    """
    joined = plan(signals, rest)
    leaves = {n: StepLeaf(s, quantity=is_quantity(s), sampling_ms=sampling_ms) for n, s in signals.items()}
    network = Network(leaves, joined.derived)

    def say_for(names: tuple[str, ...]) -> Any:
        return lambda t: {n: str(network.timeline(network.signal(n)).value_at(t)) for n in names}

    checks = [watch_check(c, network, say_for) for c in joined.checks]
    triggers = [watch_trigger(t, network, say_for) for t in joined.triggers]
    watchers = [*(w for c in checks for w in c.watchers), *triggers]
    for watcher in watchers:
        watcher.starts_ns = min([0, *(t for leaf in leaves.values() for t in leaf.t.tolist())])
    end = round(end_ms * MS)
    for upto in [*(round(c * MS) for c in cuts_ms), end + 1]:
        for leaf in leaves.values():
            leaf.advance(upto)
        network.advance()
        for watcher in watchers:
            watcher.advance()
        reached = min([network.upto_ns, *(w.upto_ns for w in watchers)])
        network.forget(reached - network.reach_ns)
        after_piece(upto, watchers)
    for watcher in watchers:
        watcher.finish(end)
    results = []
    for check in checks:
        done = [o for w in check.watchers for o in w.done]
        unseen = getattr(check.watchers[0], "start_not_seen", 0)
        results.append(result(check.plan, done, unseen, 0))
    return results, [e for t in triggers for e in t.done]


def told(outcome: CheckResult) -> list[str]:
    """Occurrences in a line each: "1000 passed +200 @1200", times in ms, part and note where given."""
    lines = []
    for o in outcome.occurrences:
        words = [f"{o.t_ns / MS:.10g}", o.part, o.outcome.value]
        if o.latency_ns is not None and o.outcome is not Outcome.CUT:
            words.append(f"+{o.latency_ns / MS:.10g}")
        if o.length_ns is not None:
            words.append(f"for {o.length_ns / MS:.10g}")
        words.append(f"@{o.decided_ns / MS:.10g}")
        if o.tight:
            words.append("tight")
        lines.append(" ".join(w for w in words if w))
    return lines
