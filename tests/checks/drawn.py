"""Random signals, conditions and checks on a grid of ticks, for `stepped` and for `naive` alike."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hypothesis import strategies as st
from naive_checks import Check

END = 40
"""The last tick of the data; a tick is 1 ns."""

_DURATION = re.compile(r"(?<=, )\d+(?=\))|(?<=[<>=] )\d+")
_TEXTS = ("when", "expect", "follows", "never", "always", "given")
_TICKS = ("within", "on_within", "off_within", "not_before", "settle")

Signals = dict[str, str]


@dataclass(frozen=True)
class Trial:
    """A check put to random signals: "a", "b", "c" conditions and "v" a voltage."""

    check: Check
    signals: Signals
    """Signal -> points with ticks for times: "0 F, 7 T"."""
    cuts: tuple[int, ...]
    sampling: int
    """Ticks between the polls of every signal; 0: not polled."""

    @property
    def is_defined(self) -> bool:
        """Whether the words say what must come out; not what the uncertainty of a held condition is."""
        texts = (self.check.when, self.check.expect, self.check.follows)
        return not self.sampling or not any(text and _DURATION.search(text) for text in texts)

    @property
    def in_ms(self) -> Signals:
        """The signals as `stepped` takes them."""
        return {
            name: ", ".join(f"{at}e-6 {what}" for at, what in (p.split() for p in text.split(",")))
            for name, text in self.signals.items()
        }


def toml(check: Check) -> str:
    """The check as a bench file has it."""
    lines = ["[[check]]", 'name = "c"', f"min_full = {check.min_full}"]
    for key in _TEXTS:
        text = getattr(check, key)
        if text is not None:
            lines.append(f'{key} = "{_DURATION.sub(lambda m: _quoted(m[0]), text)}"')
    lines += [f'{key} = "{duration(getattr(check, key))}"' for key in _TICKS if getattr(check, key)]
    if check.hold is not None:
        lines.append(f'hold = "{check.hold if isinstance(check.hold, str) else duration(check.hold)}"')
    if check.already:
        lines.append('already = "counts"')
    return "\n".join(lines) + "\n"


def duration(ticks: int) -> str:
    return f"0.{ticks:03} us"


def _quoted(ticks: str) -> str:
    return f"'{duration(int(ticks))}'"


@st.composite
def _steps(draw: st.DrawFn, says: str = "FFTT?z", first: str = "FFTT?z") -> str:
    times = sorted(draw(st.sets(st.integers(0, END), min_size=1, max_size=9)))
    if draw(st.integers(0, 3)):
        times[0] = 0
    return ", ".join(f"{t} {draw(st.sampled_from(first if t == times[0] else says))}" for t in times)


def _lasting(depth: int) -> st.SearchStrategy[str]:
    leaf = st.sampled_from(["a", "a", "b", "b", "c"])
    if depth == 0:
        return leaf
    below = _lasting(depth - 1)
    ticks = st.integers(1, 12)
    return st.one_of(
        leaf,
        below.map("not ({})".format),
        st.tuples(below, st.sampled_from(["and", "or"]), below).map(lambda p: "({} {} {})".format(*p)),
        st.tuples(below, ticks).map(lambda p: "held({}, {})".format(*p)),
        st.tuples(below, below, ticks).map(lambda p: "in_step({}, {}, {})".format(*p)),
        st.tuples(leaf, st.sampled_from(["<", "<=", ">", ">="]), ticks).map(lambda p: "age({}) {} {}".format(*p)),
        below.map("known({})".format),
        st.sampled_from(["v > '2 V'", "v + v <= '3 V'", "'1 V' < v * 2", "v / v == '1'", "known(v)"]),
        _events(depth - 1).map("not ({})".format),
    )


def _events(depth: int) -> st.SearchStrategy[str]:
    edge = st.one_of(
        st.tuples(st.sampled_from(["rises", "falls", "changes"]), _lasting(depth)).map(lambda p: "{}({})".format(*p)),
        st.just("changes(v)"),
    )
    if depth == 0:
        return edge
    return st.one_of(
        edge,
        st.tuples(edge, _lasting(depth - 1)).map(lambda p: "({} and {})".format(*p)),
        st.tuples(edge, edge).map(lambda p: "({} or {})".format(*p)),
    )


@st.composite
def _checks(draw: st.DrawFn) -> Check:
    kind = draw(st.sampled_from(["expect", "expect", "expect", "follows", "never", "always"]))
    settle = draw(st.sampled_from([0, 0, 1, 2, 3, 5]))
    min_full = draw(st.sampled_from([1, 1, 2]))
    lasting = _lasting(draw(st.integers(0, 2)))
    if kind in ("never", "always"):
        condition = draw(st.one_of(lasting, lasting, _events(1)))
        given = draw(st.one_of(st.none(), lasting))
        return Check(**{kind: condition}, given=given, settle=settle, min_full=min_full)
    already = draw(st.booleans())
    within = draw(st.integers(1, 15))
    if kind == "follows":
        hold = draw(st.sampled_from([None, "while when"]))
        return Check(
            when=draw(lasting), follows=draw(lasting), on_within=within, off_within=draw(st.integers(1, 15)),
            hold=hold, settle=settle, already=already, min_full=min_full,
        )  # fmt: skip
    event = draw(st.integers(0, 2)) == 0
    hold = draw(st.sampled_from([None, 4, 12] if event else [None, "while when", "while when", 4, 12]))
    return Check(
        when=draw(_events(1) if event else lasting), expect=draw(st.one_of(lasting, lasting, lasting, _events(0))),
        within=within, not_before=draw(st.sampled_from([0, 0, 1, within // 2, within])), hold=hold, settle=settle,
        already=already, min_full=min_full,
    )  # fmt: skip


@st.composite
def trials(draw: st.DrawFn) -> Trial:
    signals = {name: draw(_steps()) for name in "abc"} | {"v": draw(_steps("0123?z", "0123"))}
    cuts = draw(st.sets(st.integers(0, END), max_size=6))
    return Trial(draw(_checks()), signals, tuple(sorted(cuts)), draw(st.sampled_from([0, 0, 0, 2])))
