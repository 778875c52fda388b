"""Why a derived signal is unknown: which of the signals that it is made from is, and why.

secured = gear == 'P' or (gear == 'N' and park_brake)      "park_brake: adapter down"
"""

from __future__ import annotations

from collections.abc import Callable, Container
from typing import NamedTuple

from busprobe.bench import nodes as n
from busprobe.checks.network import DerivedSignal
from busprobe.timeline import ASLEEP, UNKNOWN

BETWEEN_LIMITS = "between its limits since it was first known"
TOO_SHORT = "not known for long enough to tell"


class Said(NamedTuple):
    """What a signal said at a time."""

    code: int
    why: str
    """Where it is unknown or asleep; of a derived one, with the names of those behind it."""


def because(made: DerivedSignal, code: int, derived: Container[str], said: Callable[[str], Said]) -> str:
    """The reason in a few words; empty where none is known.

    code: UNKNOWN or ASLEEP, as it is. derived: names of derived signals. said: what a signal said then.
    """
    found = {name: said(name) for name in n.signals_of(made.node)}
    for wanted in (code, ASLEEP if code == UNKNOWN else UNKNOWN):
        parts: dict[str, list[str]] = {}
        for name, one in found.items():
            if one.code == wanted:
                parts.setdefault(one.why, []).extend([] if name in derived and one.why else [name])
        if parts:
            return "; ".join(f"{', '.join(names)}: {why}" if names and why else why or ", ".join(names)
                             for why, names in parts.items())  # fmt: skip
    return _of_itself(made)


def _of_itself(made: DerivedSignal) -> str:
    """All that it is made from is known."""
    if made.above is not None:
        return BETWEEN_LIMITS
    for node in n.walk(made.node):
        match node:
            case n.Truth(signal=signal, two_bit=True):
                return f"{signal}: neither on nor off"
            case n.Arithmetic(op="/"):
                return "division by zero"
            case n.Held() | n.Edge() | n.Flashing() | n.FlashRate() | n.OnShare() | n.Steady() | n.InStep() | n.Age():
                return TOO_SHORT
    return ""
