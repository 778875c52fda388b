"""The network of operators behind all expressions of a bench file.

    leaves (signals) ──> operators ──> conditions that checks and triggers watch

Each node has a timeline; a part that several expressions share is evaluated once. A call of
`advance` takes every node as far as its operands allow; nodes that look ahead lag behind.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from busprobe.bench import nodes as n
from busprobe.checks import pointwise as pw
from busprobe.checks.doubt import Doubt, widest
from busprobe.checks.flash import Flash
from busprobe.checks.temporal import Age, Edge, Held, InStep
from busprobe.frames import UInt8Array
from busprobe.timeline import FALSE, FOREVER, NEVER, TRUE, Changes, Timeline


class Operator(Protocol):
    """Takes the new changes of its operands, all up to one time, to its own new changes."""

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes: ...


class Leaf(Protocol):
    """A signal as the network sees it; its owner extends the timelines between advances."""

    timeline: Timeline
    samples: Timeline | None
    """Every sample as a point, for `age`; None where nobody asks."""

    def doubt_at(self, t_ns: int) -> Doubt:
        """How exactly the time of a change at `t_ns` is known; none where nothing changes there."""
        ...

    def sampling_at(self, t_ns: int) -> int:
        """Time from the previous sample to that at `t_ns`, ns; 0 if not sampled periodically."""
        ...


@dataclass(frozen=True)
class _Longest:
    """The longest that any says. An object, not a closure: a twin of the network has its own."""

    of: tuple[Callable[[int], int], ...]

    def __call__(self, t_ns: int) -> int:
        return max((one(t_ns) for one in self.of), default=0)


@dataclass
class _Node:
    operator: Operator | None
    operands: tuple[int, ...]
    timeline: Timeline
    leaf: Leaf | None = None
    delay_ns: int = 0
    """The output may change this long after the operand did (`held`)."""
    read_upto_ns: int = NEVER
    """How far the operands have been taken in."""


class Network:
    """All nodes in an order in which operands come first."""

    def __init__(self, leaves: Mapping[str, Leaf], derived: Mapping[str, DerivedSignal] | None = None) -> None:
        self._leaves = leaves
        self._derived = derived or {}
        self._nodes: list[_Node] = []
        self._made: dict[object, int] = {}

    def add(self, node: n.Node) -> int:
        """Index of the node that evaluates a bound expression."""
        if node not in self._made:
            self._made[node] = self._make(node)
        return self._made[node]

    def timeline(self, index: int) -> Timeline:
        return self._nodes[index].timeline

    def signal(self, name: str) -> int:
        """Index of a signal, derived or not, by its name."""
        if name in self._derived:
            return self._derived_node(name)
        key = ("signal", name)
        if key not in self._made:
            leaf = self._leaves[name]
            self._made[key] = self._append(_Node(None, (), leaf.timeline, leaf))
        return self._made[key]

    def advance(self) -> None:
        """Evaluate every node as far as its operands are said."""
        for node in self._nodes:
            if node.operator is None:
                continue
            operands = [self._nodes[i].timeline for i in node.operands]
            upto = min(timeline.upto_ns for timeline in operands)
            if upto <= node.read_upto_ns:
                continue
            parts = [timeline.between(node.read_upto_ns, upto) for timeline in operands]
            node.timeline.extend(node.operator.step(parts, upto))
            node.read_upto_ns = upto

    @property
    def upto_ns(self) -> int:
        """Everything before this time is said by every node."""
        return min((node.timeline.upto_ns for node in self._nodes), default=FOREVER)

    @property
    def reach_ns(self) -> int:
        """How far back the cause of a change may lie that is asked for: see `doubt_at`."""
        reach: list[int] = []
        for node in self._nodes:
            reach.append(node.delay_ns + max((reach[i] for i in node.operands), default=0))
        return max(reach, default=0)

    def forget(self, before_ns: int) -> None:
        """Drop change points that nobody will ask for: all before a time that every node has passed."""
        for node in self._nodes:
            node.timeline.forget(before_ns)

    def doubt_at(self, index: int, t_ns: int) -> Doubt:
        """How exactly the time of the cause of a node's change at `t_ns` is known."""
        node = self._nodes[index]
        if node.leaf is not None:
            return node.leaf.doubt_at(t_ns)
        times = {t_ns, t_ns - node.delay_ns}
        return widest(self.doubt_at(i, t) for i in node.operands for t in times)

    def sampler(self, index: int) -> Callable[[int], int]:
        """What tells, for a node, the longest time from the previous sample to that at a time."""
        node = self._nodes[index]
        if node.leaf is not None:
            return node.leaf.sampling_at
        below = [self.sampler(i) for i in node.operands]
        if len(below) == 1:
            return below[0]
        return _Longest(tuple(below))

    def _append(self, node: _Node) -> int:
        self._nodes.append(node)
        return len(self._nodes) - 1

    def _op(self, operator: Operator, *operands: int, quantity: bool = False, delay_ns: int = 0) -> int:
        return self._append(_Node(operator, operands, Timeline(quantity=quantity), None, delay_ns))

    def _constant(self, code: int, value: float | None = None) -> int:
        timeline = Timeline(quantity=value is not None)
        values = None if value is None else np.array([value])
        timeline.extend(Changes(np.array([NEVER], np.int64), np.array([code], np.uint8), values, FOREVER))
        return self._append(_Node(None, (), timeline))

    def _derived_node(self, name: str) -> int:
        key = ("signal", name)
        if key not in self._made:
            made = self._derived[name]
            if made.above is None or made.below_again is None:
                self._made[key] = self.add(made.node)
            else:
                operand = self.add(made.node)
                self._made[key] = self._op(pw.Hysteresis(made.above, made.below_again), operand)
        return self._made[key]

    def _make(self, node: n.Node) -> int:
        match node:
            case n.Quantity(signal):
                return self.signal(signal)
            case n.Number(value):
                return self._constant(TRUE, value)
            case n.Constant(is_true):
                return self._constant(TRUE if is_true else FALSE)
            case n.Truth(signal, two_bit):
                source = self.signal(signal)
                if not self._nodes[source].timeline.is_quantity:
                    return source
                return self._op(pw.Pointwise(1, pw.truth(two_bit)), source)
            case n.Among(signal, codes, _):
                return self._op(pw.Pointwise(1, pw.among(codes)), self.signal(signal))
            case n.Compare(op, left, n.Number(value)):
                return self._op(pw.Pointwise(1, pw.compared_with(op, value)), self.add(left))
            case n.Compare(op, left, right):
                return self._op(pw.Pointwise(2, pw.compared(op)), self.add(left), self.add(right))
            case n.Arithmetic(op, left, right):
                operator = pw.Pointwise(2, pw.computed(op), quantity=True)
                return self._op(operator, self.add(left), self.add(right), quantity=True)
            case n.Not(operand):
                return self._op(pw.Pointwise(1, pw.negated), self.add(operand))
            case n.And(operands):
                return self._fold(pw.AND, operands, event=n.is_event(node))
            case n.Or(operands):
                return self._fold(pw.OR, operands, event=n.is_event(node))
            case n.Known(operand):
                return self._op(pw.Pointwise(1, pw.is_known), self.add(operand))
            case _:
                return self._make_in_time(node)

    def _make_in_time(self, node: n.Node) -> int:
        match node:
            case n.Edge(kind, operand):
                return self._op(Edge(kind), self.add(operand))
            case n.Held(operand, ns):
                return self._op(Held(ns), self.add(operand), delay_ns=ns)
            case n.Age(signal, op, ns):
                samples = self._leaves[signal].samples
                assert samples is not None
                age = self._op(Age(op, ns), self._append(_Node(None, (), samples)))
                # Told when the signal itself can be told, so that both can be shown together.
                return self._op(pw.Pointwise(2, pw.first), age, self.signal(signal))
            case n.Flashing(operand):
                return self._flash("flashing", operand)
            case n.FlashRate(operand):
                return self._flash("flash_rate", operand)
            case n.OnShare(operand):
                return self._flash("on_share", operand)
            case n.Steady(operand, on):
                lamp = operand if on else n.Not(operand)
                return self.add(n.And((lamp, n.Not(n.Flashing(operand)))))
            case n.InStep(left, right, ns):
                differ = self._fold(pw.XOR, (left, right))
                return self._op(InStep(ns), differ)
            case _:
                raise AssertionError(node)

    def _fold(self, table: UInt8Array, operands: Sequence[n.Condition], *, event: bool = False) -> int:
        operator = pw.Pointwise(len(operands), pw.folded(table), event=event)
        return self._op(operator, *(self.add(o) for o in operands))

    def _flash(self, kind: str, operand: n.Condition) -> int:
        source = self.add(operand)
        flash = Flash(kind, self.sampler(source))
        return self._op(flash, source, quantity=flash.is_quantity)


@dataclass(frozen=True)
class DerivedSignal:
    """A signal made from others; with limits it is a quantity turned condition by hysteresis."""

    node: n.Node
    above: float | None = None
    below_again: float | None = None
