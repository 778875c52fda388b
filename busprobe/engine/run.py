"""One uninterrupted stretch of event time: from unknown to the end of its data.

frames, polls ──> intake ──> leaves ──> network ──> checks, triggers
                                           └──────> histories
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from busprobe.checks.network import Leaf, Network
from busprobe.checks.watching import Say
from busprobe.engine.because import Said, because
from busprobe.engine.history import History
from busprobe.engine.intake import Intake
from busprobe.engine.plan import Plan
from busprobe.engine.steps import decimals_of, text_of
from busprobe.engine.tap_past import TapPast
from busprobe.engine.taps import WiredTap, as_quantity
from busprobe.engine.unknowns import Unknowns
from busprobe.engine.watches import CheckWatch, watch_check, watch_trigger
from busprobe.engine.why import excused
from busprobe.frames import FrameBatch, InputBatch
from busprobe.results import SignalTexts
from busprobe.timeline import ASLEEP, NEVER, TRUE

FORGET_NS = 1_000_000_000
"""Change points are dropped about this often in event time."""


class Run:
    """Takes data in order of time and evaluates everything up to each time given.

    uncertainty_ns: by bus and box, how exactly its records are stamped. histories: by signal, where
    its change points are kept for looking back.
    """

    def __init__(
        self, plan: Plan, uncertainty_ns: Mapping[str, int], histories: Mapping[str, History] | None = None
    ) -> None:
        self._plan = plan
        self._places = {name: decimals_of(signal) for name, signal in plan.signals.items()}
        """By signal, with how many decimals its values are said."""
        self._histories = histories or {}
        self.intake = Intake(plan, uncertainty_ns)
        leaves: dict[str, Leaf] = dict(self.intake.leaves)
        self._network = Network(leaves, plan.derived)
        self.checks: list[CheckWatch] = [watch_check(c, self._network, self._say_for) for c in plan.checks]
        self.triggers = [watch_trigger(t, self._network, self._say_for) for t in plan.triggers]
        self._signal_nodes = {name: self._network.signal(name) for name in (*plan.signals, *plan.derived)}
        self._signal_nodes |= self._condition_nodes()
        kept = [(self._histories[n], leaf) for n, leaf in self.intake.leaves.items() if n in self._histories]
        self._tap_pasts = [(h.tap(i), tap, leaf) for h, leaf in kept for i, tap in enumerate(leaf.taps)]
        """Taps of signals that are kept, for why they gave no value."""
        self._source_pasts = [
            (h.source(i), tap.timeline) for h, leaf in kept if len(leaf.taps) > 1 for i, tap in enumerate(leaf.taps)
        ]
        """What each source gives of a signal that is kept and has several."""
        self._bouncing = [(h, tap) for h, leaf in kept for tap in leaf.taps if isinstance(tap, WiredTap)]
        """Signals of input lines that are kept, for their bounce."""
        self._watchers = [w for c in self.checks for w in c.watchers] + self.triggers
        self.unknowns = Unknowns()
        self.upto_ns: int | None = None
        self._forget_at = NEVER
        self._reach_ns = self._network.reach_ns

    # What comes in.

    def advance(self, frames: FrameBatch, polls: Mapping[str, InputBatch], upto_ns: int) -> None:
        """Evaluate up to a time: `frames` and `polls` are all that lies before it and was not given yet.

        Channels of `frames` are named as the buses of the bench file.
        """
        self.intake.advance(frames, polls, upto_ns)
        self._network.advance()
        for name, history in self._histories.items():
            timeline = self._network.timeline(self._signal_nodes[name])
            if timeline.upto_ns > history.upto_ns:
                history.append(timeline.between(history.upto_ns, timeline.upto_ns))
        for name, signal in self.intake.leaves.items():
            self.unknowns.take(name, signal.timeline)
        for past, tap, leaf in self._tap_pasts:
            past.take(tap, leaf.timeline.upto_ns)
        for source, given in self._source_pasts:
            if given.upto_ns > source.upto_ns:
                source.append(as_quantity(given.between(source.upto_ns, given.upto_ns)))
        for kept, line in self._bouncing:
            kept.bounced(line.bursts)
            kept.changed(line.transitions)
        for watcher in self._watchers:
            watcher.advance()
        self.upto_ns = upto_ns
        self._forget()

    def finish(self, end_ns: int) -> None:
        """The data end at `end_ns`: `advance` has been called up to just after it."""
        for watcher in self._watchers:
            watcher.finish(end_ns)

    def twin_memo(self) -> dict[int, object]:
        """For `copy.deepcopy`: what never changes is shared, and a twin has no histories to add to."""
        plan = self._plan
        sources = [source for signal in plan.signals.values() for source in signal.sources]
        shared: list[object] = [plan, *sources, *plan.checks, *plan.triggers, *self.intake.unchanging]
        memo = {id(it): it for it in shared}
        memo |= {id(past): TapPast() for past, _, _ in self._tap_pasts}
        memo |= {id(source): History(source.is_condition) for source, _ in self._source_pasts}
        return memo | {id(h): History(h.is_condition) for h in self._histories.values()}

    # Inside.

    def _condition_nodes(self) -> dict[str, int]:
        """The conditions of checks and triggers, under the names of their histories."""
        nodes = {}
        for i, check in enumerate(self._plan.checks):
            nodes[f"check {i} then"] = self._network.add(check.then)
            if check.when is not None:
                nodes[f"check {i} when"] = self._network.add(check.when)
        for i, trigger in enumerate(self._plan.triggers):
            nodes[f"trigger {i} on"] = self._network.add(trigger.on)
        return nodes

    def _say_for(self, names: tuple[str, ...]) -> Say:
        return _Saying(self, names)

    def text_at(self, name: str, t_ns: int) -> str:
        """What a signal said at a time not long before the one reached."""
        timeline = self._network.timeline(self._signal_nodes[name])
        signal = self._plan.signals.get(name)
        why = self._said(name, t_ns).why
        if signal is None:
            return text_of(timeline, t_ns, {}, None, why)
        return text_of(timeline, t_ns, signal.texts, signal.type.unit, why, self._places[name])

    def _said(self, name: str, t_ns: int) -> Said:
        timeline = self._network.timeline(self._signal_nodes[name])
        code, made = timeline.code_at(t_ns), self._plan.derived.get(name)
        if code <= TRUE:
            return Said(code, "")
        if made is not None:
            return Said(code, because(made, code, self._plan.derived, lambda operand: self._said(operand, t_ns)))
        if code == ASLEEP:
            return Said(code, excused(int(timeline.t_ns[timeline.index_at(t_ns)])))
        return Said(code, self.intake.leaves[name].why_unknown(t_ns))

    def _forget(self) -> None:
        """Drop what nobody will ask for again, now and then: it costs as much as a little evaluation."""
        assert self.upto_ns is not None
        if self.upto_ns < self._forget_at:
            return
        self._forget_at = self.upto_ns + FORGET_NS
        reached = min([self._network.upto_ns, *(w.upto_ns for w in self._watchers)]) - self._reach_ns
        self._network.forget(reached)
        self.intake.forget(reached)


@dataclass(frozen=True)
class _Saying:
    """What some signals said at a time. An object, not a closure: a twin of the run has its own."""

    run: Run
    names: tuple[str, ...]

    def __call__(self, t_ns: int) -> SignalTexts:
        return {name: self.run.text_at(name, t_ns) for name in self.names}
