"""What is made from signals of which one is too old, as far as that can be told before logic has decided.

speed   body bus too old, the chassis bus gives it instead
logic   moving ‾‾‾‾‾‾‾‾‾‾‾|              it goes on in up to 2 s
here    moving ‾‾‾‾‾‾‾‾‾‾‾|‾‾‾‾‾‾‾       what logic will say
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from busprobe.bench import nodes as n
from busprobe.checks.doubt import NO_DOUBT, Doubt
from busprobe.checks.network import Leaf, Network
from busprobe.engine.history import History, Past
from busprobe.engine.plan import Plan
from busprobe.session.overdue import unknown_from
from busprobe.session.taken_over import TakenOver
from busprobe.timeline import NO_TIMES, TRUE, Changes, Timeline

_LOOK_BACK = (n.Edge, n.Held, n.Age, n.Flashing, n.FlashRate, n.OnShare, n.Steady, n.InStep)
"""What more than one instant decides: it is left to logic."""


@dataclass
class _PastLeaf:
    """A signal of which only the past is known."""

    timeline: Timeline
    samples: Timeline | None = None

    def doubt_at(self, t_ns: int) -> Doubt:
        return NO_DOUBT

    def sampling_at(self, t_ns: int) -> int:
        return 0


class MadeNow:
    """At an instant `t_ns`. overdue: by signal that is too old, or made from one, since when; taken: those of them
    that another source gives.
    """

    def __init__(
        self,
        plan: Plan,
        histories: Mapping[str, History],
        t_ns: int,
        overdue: Mapping[str, int],
        taken: Mapping[str, TakenOver],
    ) -> None:
        self.overdue = overdue
        self._plan, self._histories, self._t_ns, self._taken = plan, histories, t_ns, taken
        self._made: dict[str, Past | None] = {}

    def past(self, name: str, node: n.Node | None = None) -> Past | None:
        """Of a derived signal, or of a condition `node` with a history of that name; None: it is left to logic."""
        if name not in self._made:
            self._made[name] = self._make(name, node)
        return self._made[name]

    def is_behind(self, name: str, node: n.Node | None = None) -> bool:
        """Whether logic has not come to it, and a signal in it is told from one of its sources alone."""
        if not self._taken or self._histories[name].upto_ns > self._t_ns:
            return False
        return not self._taken.keys().isdisjoint(self._signals_in(self._nodes(name, node)))

    def _nodes(self, name: str, node: n.Node | None) -> list[n.Node]:
        """All expressions that it takes."""
        own = self._plan.derived[name].node if node is None else node
        return [*self._derived_in(own).values(), own]

    def _signals_in(self, nodes: list[n.Node]) -> set[str]:
        return {s for one in nodes for s in n.signals_of(one) if s not in self._plan.derived}

    def _make(self, name: str, node: n.Node | None) -> Past | None:
        nodes = self._nodes(name, node)
        derived = [*self._derived_in(nodes[-1]), *([name] if node is None else [])]
        signals = self._signals_in(nodes)
        is_open = any(s in self.overdue and s not in self._taken for s in signals)
        parts = [part for one in nodes for part in n.walk(one)]
        if any(isinstance(part, _LOOK_BACK) or (is_open and isinstance(part, n.Known)) for part in parts):
            return None  # whether a signal is unknown or asleep, `known` tells apart
        told_ns = self._histories[name].upto_ns  # before the past: see `History.append`
        past = self._histories[name].past
        start_ns = min([told_ns - 1, *(self._settled(one) for one in derived)])
        leaves: dict[str, Leaf] = {s: _PastLeaf(self._timeline(s, start_ns)) for s in signals}
        network = Network(leaves, self._plan.derived)
        place = network.signal(name) if node is None else network.add(node)
        network.advance()
        made = network.timeline(place)
        if made.code_at(told_ns - 1) != past.code[past.index_at(told_ns - 1)]:
            return None  # what it goes on from lies too far back
        return _continued(past, made.between(told_ns, self._t_ns + 1), told_ns)

    def _derived_in(self, node: n.Node) -> dict[str, n.Node]:
        """The derived signals below a node, and those below them."""
        found: dict[str, n.Node] = {}
        for name in n.signals_of(node):
            if name in self._plan.derived:
                found[name] = self._plan.derived[name].node
                found |= self._derived_in(found[name])
        return found

    def _settled(self, derived: str) -> int:
        """From when on its operands tell what a derived signal says: one with limits keeps its state between them."""
        told_ns, past = self._histories[derived].upto_ns, self._histories[derived].past
        if self._plan.derived[derived].above is None:
            return told_ns - 1
        return int(past.t_ns[past.index_at(told_ns - 1)])

    def _timeline(self, name: str, start_ns: int) -> Timeline:
        """A signal from a time on, as it will have been."""
        past, quiet, over_ns = self._histories[name].past, NO_TIMES, self.overdue.get(name)
        if name in self._taken:
            past = self._taken[name].past
            if over_ns is not None and past.code[past.index_at(over_ns)] <= TRUE:  # one source is followed by another
                quiet = np.array([over_ns], np.int64)
        elif over_ns is not None:
            past = unknown_from(past, over_ns, start_ns)
        first, end = past.index_at(start_ns), past.index_at(self._t_ns) + 1
        t_ns, code, value = past.t_ns[first:end], past.code[first:end], past.value[first:end]
        is_last = np.append(t_ns[1:] != t_ns[:-1], True)
        timeline = Timeline(quantity=not self._histories[name].is_condition)
        values = value[is_last] if timeline.is_quantity else None
        timeline.extend(Changes(t_ns[is_last], code[is_last], values, self._t_ns + 1, None, quiet))
        return timeline


def _continued(past: Past, changes: Changes, told_ns: int) -> Past:
    """`past` up to a time, a condition's changes from there on."""
    stop = past.index_at(told_ns - 1) + 1
    before = np.append(past.code[stop - 1], changes.code[:-1])[: len(changes)]
    is_edge = (changes.code <= TRUE) & (before <= TRUE) & (changes.code != before)
    is_edge &= ~np.isin(changes.t_ns, changes.quiet)
    return Past(
        np.concatenate([past.t_ns[:stop], changes.t_ns]),
        np.concatenate([past.code[:stop], changes.code]),
        np.concatenate([past.value[:stop], changes.code.astype(np.float64)]),
        np.concatenate([past.edges[:stop], past.edges[stop - 1] + np.cumsum(is_edge)]),
    )
