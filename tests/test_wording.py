"""Texts that the program makes: no count before a noun that is always in the plural, no minus before nothing."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import busprobe
from busprobe.engine.steps import text_of
from busprobe.session.picture import value_text
from busprobe.timeline import TRUE, Changes, Timeline

PACKAGE = Path(busprobe.__file__).parent
NOUNS = (
    "answers boxes bytes changes channels characters checks codes coils digits edges entries errors faults fields "
    "frames gaps glitches identifiers inputs lines markers messages occurrences passes pieces polls problems "
    "quantities records registers requests roles rows samples signals sources steps triggers units values"
)
PLURAL = re.compile(rf"^ (?!of |is )(?:[a-z]+ ){{0,2}}(?:{NOUNS.replace(' ', '|')}|PIDs)\b")
NEVER_ONE = {
    ("bench/hardware.py", " requests"): "refused are more than ten a second",
    ("bench/syntax.py", " characters"): "refused are thousands",
    ("decode/dbc_doubts.py", " multiplexer values"): "a limit, thousands",
    ("decode/dbc_mending.py", " bytes"): "more than any message has",
    ("decode/soundness.py", " signals"): "two or more have one name",
    ("report/not_passed.py", " passes"): "some of them came, not all",
    ("session/walk.py", " edges"): "two for each time",
    ("session/vanished.py", " messages"): "one is said in other words",
    ("sources/blf.py", " bytes"): "sizes of files and headers",
    ("sources/candump_line.py", " bytes"): "nine or more",
    ("sources/rows.py", " channels"): "a limit, hundreds",
    ("sources/wire_time.py", " characters"): "a request has eight",
    ("tui/view/walk.py", " edges"): "two for each time",
    ("tui/view/walk_roles.py", " edges"): "two for each time",
    ("van/box_ports.py", " lines"): "a remark of the protocol, always in the same words",
    ("analysis/vehicle.py", " codes"): "a kind of codes, not a number",
    ("report/vehicle_text.py", " codes"): "a kind of codes, not a number",
}
"""(module, text) of counts that are never one, and why."""


def counts_before_plurals(path: Path) -> Iterator[tuple[str, str]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.JoinedStr):
            continue
        for value, after in zip(node.values, node.values[1:], strict=False):
            text = after.value if isinstance(after, ast.Constant) else ""
            if isinstance(value, ast.FormattedValue) and isinstance(text, str) and (found := PLURAL.match(text)):
                yield path.relative_to(PACKAGE).as_posix(), found[0]


@pytest.mark.parametrize(("number", "text"), [(-0.0, "0 V"), (-0.25, "-0.25 V")])
def test_no_value_is_minus_zero(number: float, text: str) -> None:
    """As where a signal is scaled by a factor below zero."""
    assert value_text(TRUE, number, False, {}, "V") == text
    known = Timeline(quantity=True)
    known.extend(Changes(np.array([0]), np.array([TRUE], np.uint8), np.array([number]), 10))
    assert text_of(known, 5, {}, "V", "") == text


def test_counts_and_their_nouns_agree() -> None:
    found = {pair for path in sorted(PACKAGE.rglob("*.py")) for pair in counts_before_plurals(path)}
    assert found == set(NEVER_ONE)
