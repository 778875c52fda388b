"""Numeric sides of comparisons: constants and quantities, brought to one unit."""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

from busprobe.bench import nodes, units
from busprobe.bench.syntax import Parsed
from busprobe.errors import BenchError

_OPERATORS: dict[str, Callable[[Fraction, Fraction], Fraction]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": lambda a, b: a / b,
}
_LARGEST = Fraction(10) ** 200


@dataclass(frozen=True)
class Operand:
    """A constant (`value`) or something measured (`node`), in `unit`, and where it is written."""

    parsed: Parsed
    at: ast.expr
    unit: str | None
    value: Fraction | None = None
    node: nodes.Numeric | None = None
    is_computed: bool = False
    """Made by + - * / ; between scales with different zeros it does not convert."""

    @property
    def written(self) -> str:
        """As in the text, without quotes."""
        return self.parsed.said(self.at).strip("'\"")

    def error(self, message: str) -> BenchError:
        return self.parsed.error(self.at, message)

    def as_node(self) -> nodes.Numeric:
        if self.node is not None:
            return self.node
        return nodes.Number(float(self.value or 0))

    def in_unit_of(self, other: Operand) -> Operand:
        """The same in the unit of the other. Raises BenchError where that has no meaning."""
        factor = units.exact_factor(self.unit, other.unit)
        if factor is None:
            raise _unit_error(self, other)
        scale, offset = factor
        if offset and (self.is_computed or other.is_computed):
            raise _two_zeros(self)
        if self.value is not None:
            return replace(self, unit=other.unit, value=self.value * scale + offset)
        node = self.as_node()
        if scale != 1:
            node = nodes.Arithmetic("*", node, nodes.Number(float(scale)))
        if offset:
            node = nodes.Arithmetic("+", node, nodes.Number(float(offset)))
        return replace(self, unit=other.unit, node=node)


def in_one_unit(left: Operand, right: Operand) -> tuple[Operand, Operand]:
    """Both in the unit of the left one, or of the right one where only that is measured."""
    if left.value is not None and right.value is None:
        return left.in_unit_of(right), right
    return left, right.in_unit_of(left)


def combine(at: ast.expr, op: str, left: Operand, right: Operand) -> Operand:
    """`left op right`, one of + - * / ; two constants become one."""
    result = Operand(left.parsed, at, unit=None, is_computed=True)
    if op == "/" and right.value == 0:
        raise right.error(f'"{result.written}" divides by 0.')
    if op in "+-":
        factor = units.exact_factor(left.unit, right.unit)
        if factor is not None and factor[1]:
            raise _two_zeros(result)
        left, right = in_one_unit(left, right)
        unit = left.unit
    elif left.unit and right.unit:
        if op == "*" or units.exact_factor(right.unit, left.unit) is None:
            raise result.error(f'"{result.written}" makes one number of "{left.unit}" and "{right.unit}".')
        left, right = in_one_unit(left, right)
        unit = None
    elif op == "/" and right.unit:
        raise result.error(f'"{result.written}" divides a bare number by "{right.unit}".')
    else:
        unit = left.unit or right.unit
    if left.value is None or right.value is None:
        return replace(result, unit=unit, node=nodes.Arithmetic(op, left.as_node(), right.as_node()))
    value = _OPERATORS[op](left.value, right.value)
    if abs(value) > _LARGEST:
        raise result.error(f'"{result.written}" is too large a number.')
    return replace(result, unit=unit, value=value)


def _unit_error(operand: Operand, other: Operand) -> BenchError:
    """Why an operand does not fit the other one's unit, and what to write."""
    here, there = operand.written, other.written
    if operand.value is None or other.value is not None:
        return operand.error(f'"{here}" ({_said(operand.unit)}) and "{there}" ({_said(other.unit)}) do not compare.')
    if operand.unit is None:
        example = f"'{_digits(operand.value)} {other.unit}'"
        return operand.error(f'"{there}" is in {other.unit}: write the number with its unit, such as {example}.')
    if other.unit is None:
        return operand.error(f'"{there}" has no unit: write the bare number, such as {_digits(operand.value)}.')
    return operand.error(f'"{here}" does not fit "{there}", which is in {other.unit}.')


def _two_zeros(operand: Operand) -> BenchError:
    return operand.error(f'"{operand.written}" mixes temperature scales with different zeros: write them in one unit.')


def _said(unit: str | None) -> str:
    return unit or "no unit"


def _digits(value: Fraction) -> str:
    """The number as a person writes it; 5 as an example where it is unwieldy."""
    text = f"{float(value):.12g}"
    return "5" if "e" in text else text
