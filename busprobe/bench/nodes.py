"""Bound expressions: a condition over signals, every name, label and unit resolved.

`bench.expression` makes these from text; `checks` evaluates them. A *condition* node is
three-valued (true, false, unknown); a *quantity* node is a number in a stated unit.
An *event* is a condition that can hold only at instants (`rises`, `falls`, `changes`, and
those `and` conditions); `is_event` says which.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Quantity:
    """Value of a numeric signal, in the signal's unit."""

    signal: str


@dataclass(frozen=True)
class Number:
    """A constant, already converted to the unit of what it meets."""

    value: float


@dataclass(frozen=True)
class Arithmetic:
    """`left op right`, op one of + - * / ; division by zero is unknown."""

    op: str
    left: Numeric
    right: Numeric


@dataclass(frozen=True)
class FlashRate:
    """Flashes per minute of a condition; 0 while it does not flash."""

    operand: Condition


@dataclass(frozen=True)
class OnShare:
    """Per cent of the time that a flashing condition is on."""

    operand: Condition


Numeric = Quantity | Number | Arithmetic | FlashRate | OnShare


@dataclass(frozen=True)
class Constant:
    """True or False, written out."""

    value: bool


@dataclass(frozen=True)
class Truth:
    """A signal used as a condition: value 0 is false, any other known value true.

    two_bit: values 2 and 3 are unknown (a 2-bit switch without names for them).
    """

    signal: str
    two_bit: bool = False


@dataclass(frozen=True)
class Among:
    """The signal's value is one of `codes` (an enumerated value compared with a label)."""

    signal: str
    codes: tuple[float, ...]
    label: str


@dataclass(frozen=True)
class Compare:
    """`left op right`, op one of < <= > >= == != ; both in one unit."""

    op: str
    left: Numeric
    right: Numeric


@dataclass(frozen=True)
class Not:
    operand: Condition


@dataclass(frozen=True)
class And:
    operands: tuple[Condition, ...]


@dataclass(frozen=True)
class Or:
    operands: tuple[Condition, ...]


@dataclass(frozen=True)
class Edge:
    """True only at the instant of a change. kind: "rises", "falls" or "changes"."""

    kind: str
    operand: Condition | Quantity


@dataclass(frozen=True)
class Held:
    """`operand` has been true without a break for at least `ns`."""

    operand: Condition
    ns: int


@dataclass(frozen=True)
class Age:
    """The signal's newest sample is older (op > >=) or younger (op < <=) than `ns`."""

    signal: str
    op: str
    ns: int


@dataclass(frozen=True)
class Known:
    """The operand is known; says nothing while its bus sleeps."""

    operand: Condition | Quantity


@dataclass(frozen=True)
class Flashing:
    operand: Condition


@dataclass(frozen=True)
class Steady:
    """Not flashing, and on (or off) all the while. on: steady_on, else steady_off."""

    operand: Condition
    on: bool


@dataclass(frozen=True)
class InStep:
    """Two conditions agree but for differences no longer than `ns`."""

    left: Condition
    right: Condition
    ns: int


Condition = Constant | Truth | Among | Compare | Not | And | Or | Edge | Held | Age | Known | Flashing | Steady | InStep
Node = Condition | Numeric


def children(node: Node) -> tuple[Node, ...]:
    """The operands of a node, in the order written."""
    match node:
        case Arithmetic(left=left, right=right) | Compare(left=left, right=right) | InStep(left=left, right=right):
            return (left, right)
        case And(operands=operands) | Or(operands=operands):
            return operands
        case FlashRate() | OnShare() | Not() | Edge() | Held() | Known() | Flashing() | Steady():
            return (node.operand,)
        case _:
            return ()


def walk(node: Node) -> Iterator[Node]:
    """The node and all below it, depth first, in the order written."""
    yield node
    for child in children(node):
        yield from walk(child)


def signals_of(node: Node) -> tuple[str, ...]:
    """Names of the signals that a node uses, each once, in the order written."""
    named = (n.signal for n in walk(node) if isinstance(n, Quantity | Truth | Among | Age))
    return tuple(dict.fromkeys(named))


def is_event(node: Node) -> bool:
    """Whether the condition can hold only at instants."""
    match node:
        case Edge():
            return True
        case And(operands=operands):
            return any(is_event(o) for o in operands)
        case Or(operands=operands):
            return all(is_event(o) for o in operands)
        case _:
            return False
