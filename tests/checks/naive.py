"""A slow second evaluator of conditions, written from the words of DEVELOPERS.md alone.

Time is a grid of ticks 0, 1 ... end; a tick is the shortest time there is. A condition is a list
with its code at every tick, found by looking at every tick that the words speak of:

    signal  "2 F, 4 T, 6 ?"
    tick     0 1 2 3 4 5 6 7
    code     z z F F T T ? ?        z asleep: nothing was seen yet

Nothing here knows of change points, of batches or of what was said before.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Mapping
from dataclasses import dataclass

FALSE, TRUE, UNKNOWN, ASLEEP = range(4)
CODES = {"F": FALSE, "T": TRUE, "?": UNKNOWN, "z": ASLEEP}

Points = list[tuple[int, str]]
"""(tick, what the signal says from then on: F, T, ?, z or a number)."""


@dataclass(frozen=True)
class Grid:
    """What a condition or a quantity is at every tick that can be told by the end of the data."""

    code: list[int]
    told: list[int]
    """At which tick it could be told what held at each; later than the tick where it takes a look ahead."""
    value: list[float]
    """Of a quantity; for a condition the codes again."""

    def at(self, tick: int) -> int:
        return self.code[tick] if tick >= 0 else ASLEEP


def points_of(text: str) -> Points:
    """Points of a signal written as "0 F, 5 T"."""
    return [(int(p.split()[0]), p.split()[1]) for p in text.split(",") if p.strip()]


Functions = Mapping[str, Callable[[Grid], Grid]]


def evaluate(text: str, signals: Mapping[str, Points], end: int, functions: Functions | None = None) -> Grid:
    """An expression over signals; durations in it are ticks: held(x, 5).

    functions: more functions of one condition.
    """
    return _Evaluator(signals, end, functions or {}).node(ast.parse(text, mode="eval").body)


def is_event(text: str) -> bool:
    return _is_event(ast.parse(text, mode="eval").body)


def _is_event(node: ast.expr) -> bool:
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return node.func.id in ("rises", "falls", "changes")
    if isinstance(node, ast.BoolOp):
        parts = [_is_event(v) for v in node.values]
        return any(parts) if isinstance(node.op, ast.And) else all(parts)
    return False


def both(left: int, right: int) -> int:
    """Kleene's and; where neither decides, unknown outweighs asleep."""
    if FALSE in (left, right):
        return FALSE
    return max(left, right) if UNKNOWN not in (left, right) else UNKNOWN


def opposite(code: int) -> int:
    return {FALSE: TRUE, TRUE: FALSE}.get(code, code)


class _Evaluator:
    def __init__(self, signals: Mapping[str, Points], end: int, functions: Functions) -> None:
        self._signals, self._end, self._functions = signals, end, functions

    def node(self, node: ast.expr) -> Grid:
        match node:
            case ast.Name(id=name):
                return self._signal(name)
            case ast.Constant(value=bool() as value):
                return self._everywhere(TRUE if value else FALSE, 0.0)
            case ast.Constant(value=value):
                return self._everywhere(TRUE, float(str(value).split()[0]))
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return self._invert(self.node(operand))
            case ast.BoolOp(op=op, values=values):
                found = [self.node(v) for v in values]
                if isinstance(op, ast.And):
                    return self._all(found)
                return self._invert(self._all([self._invert(f) for f in found]))
            case ast.BinOp(left=left, op=sign, right=right):
                return self._arithmetic(sign, self.node(left), self.node(right))
            case ast.Compare(
                left=ast.Call(func=ast.Name(id="age"), args=[ast.Name(id=name)]), ops=[sign], comparators=[c]
            ):
                return self._age(name, sign, ast.literal_eval(c))
            case ast.Compare(left=left, ops=[sign], comparators=[right]):
                return self._compare(sign, self.node(left), self.node(right))
            case ast.Call(func=ast.Name(id=name), args=args):
                return self._call(name, args)
        raise ValueError(ast.dump(node))

    def _call(self, name: str, args: list[ast.expr]) -> Grid:
        operand = self.node(args[0])
        if name in self._functions:
            return self._functions[name](operand)
        match name:
            case "rises" | "falls" | "changes":
                return self._edges(name, operand)
            case "known":
                return Grid([{UNKNOWN: FALSE, ASLEEP: ASLEEP}.get(c, TRUE) for c in operand.code], operand.told, [])
            case "held":
                return self._held(operand, ast.literal_eval(args[1]))
            case "in_step":
                return self._in_step(operand, self.node(args[1]), ast.literal_eval(args[2]))
        raise ValueError(name)

    def _everywhere(self, code: int, value: float) -> Grid:
        ticks = range(self._end + 1)
        return Grid([code for _ in ticks], list(ticks), [value for _ in ticks])

    def _signal(self, name: str) -> Grid:
        said = []
        for tick in range(self._end + 1):
            newest = "z"
            for at, what in self._signals[name]:
                if at <= tick:
                    newest = what
            said.append(newest)
        values = [0.0 if s in CODES else float(s) for s in said]
        return Grid([CODES.get(s, TRUE) for s in said], list(range(self._end + 1)), values)

    def _invert(self, operand: Grid) -> Grid:
        return Grid([opposite(c) for c in operand.code], operand.told, [])

    def _all(self, operands: list[Grid]) -> Grid:
        codes, told = [], []
        for tick in range(min(len(o.code) for o in operands)):
            code = TRUE
            for operand in operands:
                code = both(code, operand.code[tick])
            codes.append(code)
            told.append(max(o.told[tick] for o in operands))
        return Grid(codes, told, [])

    def _arithmetic(self, sign: ast.operator, left: Grid, right: Grid) -> Grid:
        codes, values = [], []
        for tick, (a, b) in enumerate(zip(left.value, right.value, strict=True)):
            code = both(left.code[tick], right.code[tick])
            if isinstance(sign, ast.Div) and b == 0 and code == TRUE:
                code = UNKNOWN
            results = {ast.Add: a + b, ast.Sub: a - b, ast.Mult: a * b, ast.Div: a / b if b else 0.0}
            codes.append(code)
            values.append(results[type(sign)])
        return Grid(codes, left.told, values)

    def _compare(self, sign: ast.cmpop, left: Grid, right: Grid) -> Grid:
        codes = []
        for tick, (a, b) in enumerate(zip(left.value, right.value, strict=False)):
            code = both(left.code[tick], right.code[tick])
            codes.append(int(_holds(sign, a, b)) if code == TRUE else code)
        return Grid(codes, [max(a, b) for a, b in zip(left.told, right.told, strict=False)], [])

    def _age(self, name: str, sign: ast.cmpop, limit: int) -> Grid:
        codes = []
        for tick in range(self._end + 1):
            samples = [at for at, _ in self._signals[name] if at <= tick]
            codes.append(int(_holds(sign, tick - max(samples), limit)) if samples else ASLEEP)
        return Grid(codes, list(range(self._end + 1)), [])

    def _edges(self, kind: str, operand: Grid) -> Grid:
        codes = []
        for tick, now in enumerate(operand.code):
            before = operand.at(tick - 1)
            rises, falls = (before, now) == (FALSE, TRUE), (before, now) == (TRUE, FALSE)
            moved = before == now == TRUE and bool(operand.value) and operand.value[tick] != operand.value[tick - 1]
            wanted = {"rises": rises, "falls": falls, "changes": rises or falls or moved}[kind]
            codes.append(now if now > TRUE else int(wanted))
        return Grid(codes, operand.told, [])

    def _held(self, operand: Grid, ticks: int) -> Grid:
        codes = []
        for tick in range(len(operand.code)):
            window = [operand.at(t) for t in range(tick - ticks, tick + 1)]
            codes.append(next(code for code in (FALSE, UNKNOWN, ASLEEP, TRUE) if code in window))
        return Grid(codes, operand.told, [])

    def _in_step(self, left: Grid, right: Grid, ticks: int) -> Grid:
        pairs = list(zip(left.code, right.code, strict=False))
        differ = [(min(p), max(p)) == (FALSE, TRUE) for p in pairs]
        codes, told = [], []
        for tick, pair in enumerate(pairs):
            now = max(left.told[tick], right.told[tick])
            if not differ[tick]:
                codes.append(TRUE if max(pair) <= TRUE else UNKNOWN if UNKNOWN in pair else ASLEEP)
                told.append(now)
                continue
            start = tick
            while start > 0 and differ[start - 1]:
                start -= 1
            later = [t for t in range(start, len(pairs)) if t > start + ticks or not differ[t]]
            through = start + ticks
            if all(t < len(pairs) and differ[t] for t in range(start, through + 1)):
                codes.append(FALSE)
            elif later:
                codes.append(TRUE)
                through = later[0]
            else:
                break
            told.append(max(now, through, left.told[through], right.told[through]))
        return Grid(codes, told, [])


def _holds(sign: ast.cmpop, a: float, b: float) -> bool:
    return {
        ast.Lt: a < b, ast.LtE: a <= b, ast.Gt: a > b, ast.GtE: a >= b, ast.Eq: a == b, ast.NotEq: a != b,
    }[type(sign)]  # fmt: skip
