"""The network behind the expressions: what each node says, how far back it reaches, how uncertain it is."""

from __future__ import annotations

import pytest
from stepped import MS, StepLeaf

from busprobe.bench import nodes as n
from busprobe.checks.doubt import Doubt
from busprobe.checks.network import DerivedSignal, Network
from busprobe.timeline import FOREVER, NEVER, Timeline

X, Y, V = n.Truth("x"), n.Truth("y"), n.Quantity("v")
SIGNALS = {"x": "0 F, 10 T, 40 F, 60 ?", "y": "0 T, 20 F, 50 z", "v": "0 1, 20 2, 40 3, 50 ?, 60 2, 70 0"}
MOVING = {
    "moving": DerivedSignal(V, above=2.5, below_again=1.5),
    "fast": DerivedSignal(n.Compare(">", V, n.Number(2.0))),
}


def made(
    signals: dict[str, str] = SIGNALS, *, sampling: dict[str, float] | None = None
) -> tuple[Network, dict[str, StepLeaf]]:
    leaves = {
        name: StepLeaf(text, quantity=name == "v", sampling_ms=(sampling or {}).get(name, 0))
        for name, text in signals.items()
    }
    return Network(leaves, MOVING), leaves


def advance(network: Network, leaves: dict[str, StepLeaf], to_ms: float) -> None:
    for leaf in leaves.values():
        leaf.advance(round(to_ms * MS))
    network.advance()


def said(line: Timeline) -> str:
    """ "10 T, 40 F": what holds from when on, ms, where it differs from what was before."""
    words: list[str] = []
    for t, code in zip(line.t_ns.tolist(), line.code.tolist(), strict=True):
        what = "FT?z"[code] if line.value is None or code != 1 else f"{line.value_at(t):g}"
        if (words[-1].split()[1] if words else "z") != what:
            words.append(f"{t / MS:.10g} {what}" if t > NEVER else f"- {what}")
    return ", ".join(words)


NODES = {
    "a signal": (X, "0 F, 10 T, 40 F, 60 ?"),
    "a quantity": (V, "0 1, 20 2, 40 3, 50 ?, 60 2, 70 0"),
    "a number": (n.Number(5.0), "- 5"),
    "true": (n.Constant(True), "- T"),
    "false": (n.Constant(False), "- F"),
    "a number as a condition": (n.Truth("v"), "0 T, 50 ?, 60 T, 70 F"),
    "a 2-bit switch": (n.Truth("v", two_bit=True), "0 T, 20 ?, 70 F"),
    "one of some values": (n.Among("v", (1.0, 3.0), "odd"), "0 T, 20 F, 40 T, 50 ?, 60 F"),
    "not": (n.Not(X), "0 T, 10 F, 40 T, 60 ?"),
    "and": (n.And((X, Y)), "0 F, 10 T, 20 F, 60 ?"),
    "or": (n.Or((X, Y)), "0 T, 40 F, 50 z, 60 ?"),
    "known": (n.Known(X), "0 T, 60 F"),
    "a sum": (n.Arithmetic("+", V, n.Number(1.0)), "0 2, 20 3, 40 4, 50 ?, 60 3, 70 1"),
    "with two limits": (n.Truth("moving"), "0 F, 40 T, 50 ?, 70 F"),
    "a condition by name": (n.Truth("fast"), "0 F, 40 T, 50 ?, 60 F"),
    "held": (n.Held(X, 20 * MS), "0 F, 30 T, 40 F, 80 ?"),
    "not in step": (n.Not(n.InStep(X, Y, 5 * MS)), "0 T, 10 F, 20 T, 40 F, 50 z, 60 ?"),
    "older": (n.Age("y", ">=", 25 * MS), "0 F, 45 T, 50 F, 75 T"),
}


@pytest.mark.parametrize("step", [200, 40, 1])
@pytest.mark.parametrize(("node", "expected"), NODES.values(), ids=list(NODES))
def test_node(node: n.Node, expected: str, step: int) -> None:
    network, leaves = made()
    index = network.add(node)
    for to in range(0, 201, step):
        advance(network, leaves, to)
    assert said(network.timeline(index)) == expected


TWO = n.Number(2.0)
COMPARED = {
    "<": (">", "0 T, 20 F, 50 ?, 60 F, 70 T"),
    "<=": (">=", "0 T, 40 F, 50 ?, 60 T"),
    ">": ("<", "0 F, 40 T, 50 ?, 60 F"),
    ">=": ("<=", "0 F, 20 T, 50 ?, 60 T, 70 F"),
    "==": ("==", "0 F, 20 T, 40 F, 50 ?, 60 T, 70 F"),
    "!=": ("!=", "0 T, 20 F, 40 T, 50 ?, 60 F, 70 T"),
}


@pytest.mark.parametrize("op", COMPARED)
def test_comparison(op: str) -> None:
    """With a number at its right or its left, and with a sum."""
    turned, expected = COMPARED[op]
    summed = n.Arithmetic("+", n.Number(0.5), n.Number(1.5))
    for node in (n.Compare(op, V, TWO), n.Compare(turned, TWO, V), n.Compare(op, V, summed)):
        network, leaves = made()
        index = network.add(node)
        advance(network, leaves, 200)
        assert said(network.timeline(index)) == expected


def test_an_expression_of_several_checks_is_evaluated_once() -> None:
    network, _ = made()
    assert network.add(n.Not(X)) == network.add(n.Not(n.Truth("x")))
    assert network.signal("moving") == network.add(n.Truth("moving"))
    assert network.signal("x") == network.add(X)


def test_how_far_it_is_evaluated() -> None:
    """What looks ahead lags behind: flashes are not told yet, a constant always is."""
    network, leaves = made({"x": "0 F, 2000 T"})
    assert network.upto_ns == FOREVER
    network.add(n.Constant(True))
    flashing = network.add(n.Flashing(X))
    advance(network, leaves, 2500)
    assert network.upto_ns == network.timeline(flashing).upto_ns == 2000 * MS
    assert network.timeline(network.signal("x")).upto_ns == 2500 * MS


def test_how_far_back_a_cause_may_lie() -> None:
    """The longest chain of `held` counts."""
    network, _ = made()
    assert network.reach_ns == 0
    network.add(n.Not(X))
    assert network.reach_ns == 0
    network.add(n.And((n.Held(n.Held(X, 20), 3), n.Held(Y, 7))))
    assert network.reach_ns == 23
    network.add(n.Held(n.And((n.Held(X, 30), Y)), 5))
    assert network.reach_ns == 35


def test_what_is_forgotten() -> None:
    network, leaves = made()
    index = network.add(n.Not(X))
    advance(network, leaves, 200)
    network.forget(45 * MS)
    assert said(network.timeline(index)) == "40 T, 60 ?"
    assert said(network.timeline(network.signal("x"))) == "40 F, 60 ?"


@pytest.mark.parametrize(
    ("node", "at", "uncertainty"),
    [
        (X, 10, 3), (X, 11, 0), (Y, 20, 5), (n.Not(X), 40, 3),
        (n.Not(X), 9.999999, 0),
        (n.Constant(True), 10, 0), (n.And((X, Y)), 10, 3), (n.And((X, Y)), 20, 5), (n.And((Y, X)), 20, 5),
        (n.Held(X, 20 * MS), 30, 3), (n.Held(X, 20 * MS), 40, 3), (n.Held(X, 20 * MS), 25, 0),
        (n.And((n.Held(X, 10 * MS), Y)), 20, 5),
    ],
)  # fmt: skip
def test_uncertainty(node: n.Condition, at: float, uncertainty: int) -> None:
    """That of whatever changes there, or changed so long before as `held` looks back."""
    network, leaves = made(sampling={"x": 3, "y": 5})
    index = network.add(node)
    advance(network, leaves, 200)
    assert network.doubt_at(index, round(at * MS)) == Doubt(uncertainty * MS)


@pytest.mark.parametrize(
    ("node", "sampling"), [(X, 3), (n.Not(X), 3), (n.And((X, Y)), 5), (n.Or((Y, X)), 5), (n.Constant(True), 0)]
)
def test_sampling(node: n.Condition, sampling: int) -> None:
    """The slowest signal in an expression counts."""
    network, _ = made(sampling={"x": 3, "y": 5})
    assert network.sampler(network.add(node))(10 * MS) == sampling * MS
