"""Binds an expression to signals: what each name, text and number in it stands for.

gear == 'R'          Among(gear, codes of "R")
speed > "5 mph"      Compare(Quantity(speed) in km/h, 8.04672)
brake                Truth(brake)
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import TypeGuard

from busprobe.bench import labels, nodes
from busprobe.bench.model import SignalType, Text
from busprobe.bench.operands import Operand, combine, in_one_unit
from busprobe.bench.syntax import ARITHMETIC, COMPARISONS, FUNCTIONS, Parsed, refuse_unknown
from busprobe.bench.units import UnitError, duration_ns, normalise, quantity
from busprobe.errors import BenchError, counted

Types = Mapping[str, SignalType]

_FLIPPED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}
_MOST_LABELS = 3
"""A signal with more named values than this is no switch."""
_LARGEST = 1e15


def bind(parsed: Parsed, types: Types) -> nodes.Condition:
    """The expression as a condition. Raises BenchError at whatever does not fit its signals."""
    refuse_unknown(parsed, types)
    return _Binder(parsed, types).condition(parsed.tree)


def bind_quantity(parsed: Parsed, types: Types) -> nodes.Numeric:
    """The expression as a quantity in its own unit. Raises BenchError where it is none."""
    return _measured(parsed, types).as_node()


def bind_levels(
    parsed: Parsed, above: Text, below_again: Text | None, types: Types
) -> tuple[nodes.Numeric, float, float]:
    """The quantity of a signal with hysteresis and its two levels, all in the quantity's unit."""
    measured = _measured(parsed, types)
    upper, lower = (_level(text, measured) for text in (above, below_again or above))
    if (lower.value or 0) > (upper.value or 0):
        raise lower.error(f'"below_again" ("{lower.written}") is higher than "above" ("{upper.written}").')
    return measured.as_node(), float(upper.value or 0), float(lower.value or 0)


def _measured(parsed: Parsed, types: Types) -> Operand:
    refuse_unknown(parsed, types)
    operand = _Binder(parsed, types).operand(parsed.tree)
    if operand.value is not None:
        raise operand.error(f'"{operand.written}" is a constant: a signal is missing.')
    return operand


def _level(source: Text, measured: Operand) -> Operand:
    """A level such as "8 km/h" in the unit of what is measured."""
    code = source.text.strip()
    tree = ast.Constant(code, lineno=1, col_offset=0, end_lineno=1, end_col_offset=len(code.encode()))
    return _quantity(Parsed(source, code, tree), tree, code).in_unit_of(measured)


def _quantity(parsed: Parsed, at: ast.expr, text: str) -> Operand:
    try:
        value, unit = quantity(text)
    except UnitError as error:
        raise parsed.error(at, str(error)) from None
    return Operand(parsed, at, unit, value=value)


@dataclass(frozen=True)
class _Binder:
    """Binds the parts of one expression; every name in it is in `types`."""

    parsed: Parsed
    types: Types

    def error(self, node: ast.expr, message: str) -> BenchError:
        return self.parsed.error(node, message)

    def said(self, node: ast.expr) -> str:
        return self.parsed.said(node)

    def condition(self, node: ast.expr) -> nodes.Condition:
        match node:
            case ast.Constant(value=bool() as value):
                return nodes.Constant(value)
            case ast.Name(id=name):
                return self.truth(node, name)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return nodes.Not(self.condition(operand))
            case ast.BoolOp(op=ast.And(), values=values):
                return nodes.And(tuple(map(self.condition, values)))
            case ast.BoolOp(values=values):
                return self.either(values)
            case ast.Compare(ops=ops, left=left, comparators=comparators):
                pairs = zip(pairwise([left, *comparators]), ops, strict=True)
                parts = tuple(self.compared(a, COMPARISONS[type(op)], b) for (a, b), op in pairs)
                return parts[0] if len(parts) == 1 else nodes.And(parts)
            case ast.Call(func=ast.Name(id=name), args=args) if name not in ("age", "flash_rate", "on_share"):
                return self.called(name, args)
        raise self.error(node, f"{self.said(node)} is not a condition: compare it with a value.")

    def truth(self, node: ast.expr, name: str) -> nodes.Condition:
        """A signal that stands alone."""
        kind = self.types[name]
        if not kind.is_condition and kind.unit is not None:
            example = f"{name} > '5 {kind.unit}'"
            raise self.error(node, f'"{name}" is in {kind.unit}: compare it with a value, such as {example}.')
        if not kind.is_condition and len(kind.labels) > _MOST_LABELS:
            example = f"{name} == '{next(iter(kind.labels))}'"
            count = len(kind.labels)
            raise self.error(
                node, f'"{name}" has {counted(count, "named value")}: compare it with one, such as {example}.'
            )
        return nodes.Truth(name, kind.two_bit and not kind.is_condition)

    def either(self, values: list[ast.expr]) -> nodes.Condition:
        operands = tuple(map(self.condition, values))
        are_events = [nodes.is_event(operand) for operand in operands]
        if any(are_events) and not all(are_events):
            event, lasting = (self.said(values[are_events.index(kind)]) for kind in (True, False))
            raise self.error(
                values[are_events.index(True)],
                f'An event, {event}, cannot be joined by "or" with a lasting condition, {lasting}.',
            )
        return nodes.Or(operands)

    def lasting(self, node: ast.expr, function: str) -> nodes.Condition:
        """The condition that a function is about."""
        operand = self.condition(node)
        if nodes.is_event(operand):
            raise self.error(node, f"{self.said(node)} is an event; {function} needs a condition that lasts.")
        return operand

    def any_signal(self, node: ast.expr, function: str) -> nodes.Condition | nodes.Quantity:
        """A condition, or a signal of any kind by its name."""
        if isinstance(node, ast.Name):
            kind = self.types[node.id]
            if not kind.is_condition and not kind.two_bit:
                return nodes.Quantity(node.id)
        return self.lasting(node, function)

    def called(self, name: str, args: list[ast.expr]) -> nodes.Condition:
        match name:
            case "changes":
                return nodes.Edge(name, self.any_signal(args[0], name))
            case "known":
                return nodes.Known(self.any_signal(args[0], name))
            case "held":
                return nodes.Held(self.lasting(args[0], name), self.duration(args[1], FUNCTIONS[name]))
            case "flashing":
                return nodes.Flashing(self.lasting(args[0], name))
            case "steady_on" | "steady_off":
                return nodes.Steady(self.lasting(args[0], name), on=name == "steady_on")
            case "in_step":
                left, right = (self.lasting(arg, name) for arg in args[:2])
                return nodes.InStep(left, right, self.duration(args[2], FUNCTIONS[name]))
            case _:
                return nodes.Edge(name, self.lasting(args[0], name))

    def compared(self, left: ast.expr, op: str, right: ast.expr) -> nodes.Condition:
        """One comparison of two sides."""
        if op in ("in", "not in"):
            among = labels.among(self.parsed, self.types, left, right)
            return nodes.Not(among) if op == "not in" else among
        if _is_age(left):
            return self.aged(left, op, right)
        if _is_age(right):
            return self.aged(right, _FLIPPED.get(op, op), left)
        for name, text in ((left, right), (right, left)):
            if isinstance(name, ast.Name) and isinstance(text, ast.Constant) and isinstance(text.value, str):
                labelled = labels.labelled(self.parsed, name, self.types[name.id], op, text)
                if labelled is not None:
                    return labelled
        first, second = self.operand(left), self.operand(right)
        if first.value is not None and second.value is not None:
            raise second.error(f'"{first.written}" and "{second.written}" are both constants: a signal is missing.')
        first, second = in_one_unit(first, second)
        return nodes.Compare(op, first.as_node(), second.as_node())

    def aged(self, call: ast.Call, op: str, limit: ast.expr) -> nodes.Condition:
        signal = call.args[0]
        if not isinstance(signal, ast.Name):
            raise self.error(signal, f"age takes the name of a signal, not {self.said(signal)}.")
        if op not in _FLIPPED:
            raise self.error(call, f"{self.said(call)} can be compared with <, <=, > and >= only.")
        return nodes.Age(signal.id, op, self.duration(limit, "age(x) > '2 s'"))

    def duration(self, node: ast.expr, example: str) -> int:
        match node:
            case ast.Constant(value=str() as text):
                try:
                    return duration_ns(text)
                except UnitError as error:
                    raise self.error(node, str(error)) from None
        raise self.error(node, f"{self.said(node)} is no duration: write it in quotes, as in {example}.")

    def operand(self, node: ast.expr) -> Operand:
        """A side of a comparison as a number."""
        match node:
            case ast.Constant(value=bool()):
                raise self.error(
                    node, f'{self.said(node)} is no number: write the condition alone, or "not" before it.'
                )
            case ast.Constant(value=str() as text):
                return _quantity(self.parsed, node, text)
            case ast.Constant(value=int() | float() as number):
                return self.literal(node, number)
            case ast.Name(id=name):
                kind = self.types[name]
                labels.refuse_switch(self.parsed, node, kind)
                return Operand(self.parsed, node, normalise(kind.unit), node=nodes.Quantity(name))
            case ast.UnaryOp(op=ast.UAdd(), operand=operand):
                return self.operand(operand)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return self.negated(node, self.operand(operand))
            case ast.BinOp(left=left, op=op, right=right):
                return combine(node, ARITHMETIC[type(op)], self.operand(left), self.operand(right))
            case ast.Call(func=ast.Name(id="flash_rate"), args=args):
                return Operand(self.parsed, node, None, node=nodes.FlashRate(self.lasting(args[0], "flash_rate")))
            case ast.Call(func=ast.Name(id="on_share"), args=args):
                return Operand(self.parsed, node, "%", node=nodes.OnShare(self.lasting(args[0], "on_share")))
            case ast.Call(func=ast.Name(id="age")):
                raise self.error(node, f"{self.said(node)} is compared only with a duration, as in age(x) > '2 s'.")
        raise self.error(node, f"{self.said(node)} is a condition, not a number.")

    def negated(self, node: ast.expr, operand: Operand) -> Operand:
        if operand.value is not None:
            return replace(operand, at=node, value=-operand.value)
        return combine(node, "*", Operand(self.parsed, node, None, value=Fraction(-1)), operand)

    def literal(self, node: ast.expr, number: float) -> Operand:
        if not abs(number) <= _LARGEST:
            raise self.error(node, f"{self.said(node)} is too large a number.")
        return Operand(self.parsed, node, None, value=Fraction(repr(number)))


def _is_age(node: ast.expr) -> TypeGuard[ast.Call]:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "age"
