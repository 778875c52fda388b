"""Expressions of the bench file as syntax: Python's grammar, cut down to what is allowed.

    gear == 'R' and not held(park_brake, '200 ms')
    '5 km/h' < speed < '30 mph'
    falls(ignition)

Comparisons, `and or not`, + - * /, signal names, texts, numbers, True and False, and the
functions in FUNCTIONS. Grammar: https://docs.python.org/3/library/ast.html
"""

from __future__ import annotations

import ast
import re
import warnings
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from busprobe.bench.model import Origin, Text
from busprobe.errors import BenchError, nearest

FUNCTIONS = {
    "rises": "rises(x)",
    "falls": "falls(x)",
    "changes": "changes(x)",
    "held": "held(x, '200 ms')",
    "age": "age(x)",
    "known": "known(x)",
    "flashing": "flashing(x)",
    "flash_rate": "flash_rate(x)",
    "on_share": "on_share(x)",
    "steady_on": "steady_on(x)",
    "steady_off": "steady_off(x)",
    "in_step": "in_step(x, y, '30 ms')",
}
"""Function -> how it is written: inside a text in double quotes, so texts in it have single ones."""

EVENTS = ("rises", "falls", "changes")
COMPARISONS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
    ast.In: "in",
    ast.NotIn: "not in",
}
ARITHMETIC: dict[type[ast.operator], str] = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}

LONGEST = 2000
DEEPEST = 60
ALLOWED = f"Allowed: signal names, comparisons, and, or, not, + - * /, texts, numbers, {', '.join(FUNCTIONS)}."

_BLANKS = "\t\n\r\f\v "
_ONE_LINE = str.maketrans(_BLANKS, " " * len(_BLANKS))
_FOREIGN = (
    (re.compile(r"(?<![=!<>])=(?!=)"), '"=" compares nothing: write "==".'),
    (re.compile(r"&&"), '"&&" is not allowed: write "and".'),
    (re.compile(r"\|\|"), '"||" is not allowed: write "or".'),
    (re.compile(r"!(?!=)"), '"!" is not allowed: write "not".'),
    (re.compile(r"<>"), '"<>" is not allowed: write "!=".'),
)
_REFUSED: dict[type[ast.operator], str] = {
    ast.BitAnd: '"&" is not allowed: write "and".',
    ast.BitOr: '"|" is not allowed: write "or".',
}
_QUOTED = re.compile(r"'[^']*'|\"[^\"]*\"")
_CAPITALS = re.compile(r"\b(?:AND|And|OR|Or|NOT|Not)\b")
_BARE_QUANTITY = re.compile(
    r"(?<![\w.])(\d+(?:\.\d+)?) ?(?!(?i:and|or|not|in|is|if|else)\b)([A-Za-zµ°%]+(?:/[A-Za-z]+)?)(?!\w)"
)
_SMALL = "and, or, not are written in small letters."


@dataclass(frozen=True)
class Parsed:
    """An expression that keeps to the grammar; its names are not yet looked up."""

    source: Text
    code: str
    """The text on one line, without leading blanks."""
    tree: ast.expr

    def written(self, node: ast.expr) -> str:
        """The part of the text that a node was made from."""
        return ast.get_source_segment(self.code, node) or self.code

    def said(self, node: ast.expr) -> str:
        """That part in double quotes, for a message."""
        return '"' + self.written(node).replace('"', "'") + '"'

    def error(self, node: ast.expr, message: str, hint: str | None = None) -> BenchError:
        """An error at a node."""
        return _error(self.source, _character(self.code, node.col_offset), message, hint)


def parse(source: Text) -> Parsed:
    """Syntax tree of an expression. Raises BenchError at the first thing that is not allowed."""
    code = source.text.translate(_ONE_LINE).strip(" ")
    if not code:
        raise _error(source, 0, "The expression is empty.")
    if len(code) > LONGEST:
        raise _error(source, 0, f"The expression has {len(code)} characters; at most {LONGEST} are read.")
    if "\\" in code:
        raise _error(source, code.index("\\"), '"\\" is not allowed in an expression.')
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            tree = ast.parse(code, mode="eval").body
    except SyntaxError as error:
        raise _syntax_error(source, code, error) from None
    except (ValueError, RecursionError, MemoryError):
        raise _error(source, 0, "The expression cannot be read.") from None
    parsed = Parsed(source, code, tree)
    if comment := code.encode()[tree.end_col_offset or 0 :].decode().strip(" )"):
        raise _error(source, code.rindex(comment), f'"{comment}" is not read: an expression holds no comment.')
    _check(parsed)
    return parsed


def names_of(parsed: Parsed) -> tuple[str, ...]:
    """Signal names, each once, in the order written."""
    return tuple(dict.fromkeys(node.id for node in name_nodes(parsed)))


def name_nodes(parsed: Parsed) -> list[ast.Name]:
    """Every place where a signal is named, in the order written."""
    return [node for node, _ in _walk(parsed.tree) if isinstance(node, ast.Name)]


def refuse_unknown(parsed: Parsed, known: Collection[str]) -> None:
    """Raises BenchError at the first name that is no signal."""
    for node in name_nodes(parsed):
        if node.id not in known:
            raise parsed.error(node, f'Unknown signal "{node.id}".{nearest(node.id, known)}')


def is_event(parsed: Parsed) -> bool:
    """Whether the expression can hold only at instants, as `nodes.is_event` tells of bound ones."""
    return _is_event(parsed.tree)


def _is_event(node: ast.expr) -> bool:
    match node:
        case ast.Call(func=ast.Name(id=name)):
            return name in EVENTS
        case ast.BoolOp(op=ast.And(), values=values):
            return any(map(_is_event, values))
        case ast.BoolOp(op=ast.Or(), values=values):
            return all(map(_is_event, values))
        case _:
            return False


def _walk(tree: ast.expr) -> Iterator[tuple[ast.expr, int]]:
    """Every operand with its depth, in the order written, without operators and function names."""
    waiting = [(tree, 1)]
    while waiting:
        node, depth = waiting.pop()
        yield node, depth
        below = node.args if isinstance(node, ast.Call) else list(ast.iter_child_nodes(node))
        waiting.extend((child, depth + 1) for child in reversed(below) if isinstance(child, ast.expr))


def _check(parsed: Parsed) -> None:
    for node, depth in _walk(parsed.tree):
        if depth > DEEPEST:
            raise parsed.error(parsed.tree, f"The expression is nested more than {DEEPEST} deep.")
        match node:
            case ast.Call():
                _check_call(parsed, node)
            case ast.Attribute():
                raise parsed.error(
                    node,
                    f"{parsed.said(node)} is not allowed in an expression.",
                    "Give it a name under [signals] and write that name.",
                )
            case ast.BinOp(op=operator) if type(operator) not in ARITHMETIC:
                refusal = _REFUSED.get(type(operator), f"The operator of {parsed.said(node)} is not allowed.")
                raise parsed.error(node, refusal, ALLOWED)
            case ast.Compare(ops=operators) if any(type(o) not in COMPARISONS for o in operators):
                raise parsed.error(node, f'"is" in {parsed.said(node)} compares nothing here: write "==".')
            case ast.UnaryOp(op=ast.Invert()):
                raise parsed.error(node, '"~" is not allowed: write "not".')
            case ast.Constant(value=bool() | int() | float() | str()):
                pass
            case ast.BinOp() | ast.Compare() | ast.UnaryOp() | ast.BoolOp() | ast.Name() | ast.Tuple() | ast.List():
                pass
            case _:
                raise parsed.error(node, f"{parsed.said(node)} is not allowed in an expression.", ALLOWED)


def _check_call(parsed: Parsed, call: ast.Call) -> None:
    name = parsed.written(call.func)
    if not isinstance(call.func, ast.Name) or name not in FUNCTIONS:
        hint = _SMALL if name.lower() in ("and", "or", "not") else None
        raise parsed.error(call, f'Unknown function "{name}".{nearest(name, FUNCTIONS)}', hint)
    wanted = FUNCTIONS[name].count(",") + 1
    if call.keywords or len(call.args) != wanted or any(isinstance(a, ast.Starred) for a in call.args):
        raise parsed.error(call, f'{parsed.said(call)} is not how {name} is written: "{FUNCTIONS[name]}".')


def _syntax_error(source: Text, code: str, error: SyntaxError) -> BenchError:
    """Say what to write where a sign of another language stands, else where reading stopped."""
    bare = _QUOTED.sub(lambda m: " " * len(m[0]), code)
    for sign, message in _FOREIGN:
        if found := sign.search(bare):
            return _error(source, found.start(), message)
    if error.offset is None:
        return _error(source, 0, "The expression cannot be read.")
    at = error.offset - 1 if error.offset > 0 else len(code)
    rest = code[at:].strip().replace('"', "'")
    if not rest:
        return _error(source, len(code), "The expression ends too early.", _spelling(bare))
    if error.msg.endswith("never closed"):
        return _error(source, at, f'"{rest[0]}" is never closed.')
    return _error(source, at, f'The expression makes no sense at "{rest}".', _spelling(bare))


def _spelling(bare: str) -> str | None:
    """What to write instead of a word in capitals or a quantity without quotes; bare: the code without its texts."""
    if _CAPITALS.search(bare):
        return _SMALL
    if found := _BARE_QUANTITY.search(bare):
        return f"A quantity stands in single quotes: '{found[1]} {found[2]}'."
    return None


def _error(source: Text, at: int, message: str, hint: str | None = None) -> BenchError:
    """An error at a character of the text without its leading blanks."""
    start = len(source.text) - len(source.text.lstrip(_BLANKS))
    origin = _shifted(source, start + at if start < len(source.text) else 0)
    return BenchError(message, path=origin.path, line=origin.line, column=origin.column, hint=hint)


def _shifted(source: Text, at: int) -> Origin:
    """Place of a character of the text; only the line where the columns are not known."""
    path, line, column = source.origin.path, source.origin.line, source.origin.column
    if line is None:
        return Origin(path, None, at + 1)
    if column is None:
        return Origin(path, line)
    before = source.text[:at]
    if "\n" in before:
        return Origin(path, line + before.count("\n"), at - before.rindex("\n"))
    return Origin(path, line, column + at)


def _character(code: str, byte: int) -> int:
    """Characters before a byte of the text as UTF-8, which is how syntax trees count."""
    return len(code.encode()[:byte].decode(errors="ignore"))
