"""Named values in expressions: `gear == 'P'`, `gear in ('P', 'R')`."""

from __future__ import annotations

import ast
from collections.abc import Mapping

from busprobe.bench import nodes
from busprobe.bench.model import SignalType
from busprobe.bench.syntax import Parsed
from busprobe.bench.units import is_quantity
from busprobe.errors import BenchError, nearest


def refuse_switch(parsed: Parsed, name: ast.Name, kind: SignalType) -> None:
    """Raises BenchError for a signal that is only on or off, where a value is wanted."""
    if kind.is_condition:
        signal = name.id
        raise parsed.error(name, f'"{signal}" is on or off and has no value: write {signal} or not {signal}.')


def labelled(parsed: Parsed, name: ast.Name, kind: SignalType, op: str, at: ast.Constant) -> nodes.Condition | None:
    """A signal against a text; None where the text is to be read as a quantity."""
    refuse_switch(parsed, name, kind)
    text = str(at.value)
    if text in kind.labels:
        if op not in ("==", "!="):
            raise parsed.error(at, f'The named values of "{name.id}" have no order: compare with == or !=.')
        among = nodes.Among(name.id, tuple(kind.labels[text]), text)
        return nodes.Not(among) if op == "!=" else among
    if kind.labels and not (kind.unit and is_quantity(text)):
        raise _no_such_value(parsed, name, kind, at)
    if not kind.labels and not kind.unit and not is_quantity(text):
        raise parsed.error(at, f'"{name.id}" has no named values to compare with "{text}".')
    return None


def among(parsed: Parsed, types: Mapping[str, SignalType], left: ast.expr, right: ast.expr) -> nodes.Among:
    """`left in right`, a signal and its named values in brackets."""
    items = right.elts if isinstance(right, ast.Tuple | ast.List) else [right]
    if not isinstance(left, ast.Name):
        raise parsed.error(left, f"{parsed.said(left)} is no signal: write it as gear in ('P', 'R').")
    kind = types[left.id]
    refuse_switch(parsed, left, kind)
    texts: list[str] = []
    for item in items:
        match item:
            case ast.Constant(value=str() as text) if text in kind.labels:
                texts.append(text)
            case ast.Constant(value=str()):
                raise _no_such_value(parsed, left, kind, item)
            case _:
                raise parsed.error(item, f"{parsed.said(item)} is no named value: write it as gear in ('P', 'R').")
    if not texts:
        raise parsed.error(right, f"{parsed.said(right)} holds no named value: write it as gear in ('P', 'R').")
    codes = dict.fromkeys(code for text in texts for code in kind.labels[text])
    return nodes.Among(left.id, tuple(codes), ", ".join(texts))


def _no_such_value(parsed: Parsed, name: ast.Name, kind: SignalType, at: ast.Constant) -> BenchError:
    known = ", ".join(f'"{label}"' for label in kind.labels)
    hint = f'Named values of "{name.id}": {known}.' if known else None
    text = str(at.value)
    return parsed.error(at, f'"{name.id}" has no value named "{text}".{nearest(text, kind.labels)}', hint)
