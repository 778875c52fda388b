"""Agreement with signal temporal logic, where all signals are known.

The rows of data/stl.csv are outputs of rtamt 0.4.10, named in each row. The random trials run rtamt itself
(https://github.com/nickovic/rtamt, offline, dense time) beside the checks.
"""

from __future__ import annotations

import csv
import warnings
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stepped import run, told

from busprobe.results import CheckResult

ROWS = list(csv.DictReader((Path(__file__).parent / "data" / "stl.csv").open(encoding="utf-8")))
RESPONSE = "always((a>=0) implies (eventually[0,0.3](b>=0)))"
EDGE_RESPONSE = "always((rise(a>=0)) implies (eventually[0,0.3](b>=0)))"
ONLINE_RESPONSE = "((not(a>=0)) or (eventually[0,0.3](b>=0))) online"
LEFT_OUT = {
    "B1": "online mode with implies: a known error of the library",
    "S5": "the data end before the limit: there it says violated, here it is cut short",
}
NEVER = {
    "I1": 'never = "a and b"\n',
    "I2": 'never = "a and b"\n',
    "N1": "never = \"a > '10 V'\"\n",
    "N3": "never = \"held(a < '11.8 V', '1 s')\"\n",
}


def named(row: dict[str, str]) -> str:
    return f"{row['id']} {row['time_model']} {'edge' if 'rise' in row['formula'] else ''}"


RESPONSES = [r for r in ROWS if r["formula"] in (RESPONSE, EDGE_RESPONSE, ONLINE_RESPONSE) and r["id"] not in LEFT_OUT]
INVARIANTS = [r for r in ROWS if r["id"] in NEVER]


def test_all_rows_are_used_or_left_out_by_name() -> None:
    used = {named(r) for r in [*RESPONSES, *INVARIANTS]} | {"N2 dense "}
    assert {named(r) for r in ROWS if r["id"] not in LEFT_OUT} == used


def steps(text: str, *, is_condition: bool) -> tuple[str, float]:
    """ "0:-1 1:1 end:5" in s -> "0 F, 1000 T" in ms, and the end in ms."""
    points = [(p.split(":")[0], float(p.split(":")[1])) for p in text.split()]
    said = [(float(at) * 1000, v) for at, v in points if at != "end"]
    end = next((v * 1000 for at, v in points if at == "end"), said[-1][0] + 1000)
    return ", ".join(f"{t:g} {('T' if v >= 0 else 'F') if is_condition else v}" for t, v in said), end


def violations(text: str) -> list[tuple[float, float]]:
    """Where a row is violated, as (first, end) in ms; an instant ends where it begins."""
    if not text:
        return []
    if "[" in text:
        low, high = text.replace("[", "").split(" ")[0].rstrip(")]").split(",")
        return [(float(low) * 1000, float(high) * 1000)]
    return [(float(t) * 1000, float(t) * 1000) for t in text.split()]


@pytest.mark.parametrize("row", RESPONSES, ids=named)
def test_response_rows(row: dict[str, str]) -> None:
    """The occurrence at the rise of a fails where the row is violated at that instant, and else does not."""
    a, end = steps(row["signal_a_steps"], is_condition=True)
    b, _ = steps(row["signal_b_steps"], is_condition=True)
    rises = [float(p.split()[0]) for p in a.split(", ") if p.endswith("T")]
    check = 'when = "rises(a)"\nexpect = "b"\nwithin = "300 ms"\nalready = "counts"\n'
    (found,), _ = run({"a": a, "b": b}, f'[[check]]\nname = "c"\n{check}', end)
    if row["formula"] == EDGE_RESPONSE:
        violated = [row["verdict_at_t0"] == "violated" for _ in rises]
    else:
        bad = violations(row["violating_instants_or_intervals"])
        violated = [any(low == t or low <= t < high for low, high in bad) for t in rises]
    assert [o.outcome.value == "failed" for o in found.occurrences] == violated
    assert all(o.outcome.value in ("failed", "passed") for o in found.occurrences)


@pytest.mark.parametrize("row", INVARIANTS, ids=named)
def test_invariant_rows(row: dict[str, str]) -> None:
    """A failed occurrence lies where the row is violated (N3: true)."""
    is_condition = bool(row["signal_b_steps"])
    a, end = steps(row["signal_a_steps"], is_condition=is_condition)
    signals = {"a": a} | ({"b": steps(row["signal_b_steps"], is_condition=True)[0]} if is_condition else {})
    (found,), _ = run(signals, f'[[check]]\nname = "c"\n{NEVER[row["id"]]}', end)
    bad = violations(row["violating_instants_or_intervals"])
    failed = [(o.t_ns / 1e6, o.length_ns or 0) for o in found.occurrences if o.outcome.value == "failed"]
    assert [t for t, _ in failed] == [low for low, _ in bad]
    if row["time_model"] == "dense":
        assert [t + length / 1e6 for t, length in failed] == [high for _, high in bad]


def test_undervoltage_recovers_row() -> None:
    """N2: 11.4 V from 2 s to 5 s, back within 3 s: satisfied."""
    (row,) = (r for r in ROWS if r["id"] == "N2")
    a, end = steps(row["signal_a_steps"], is_condition=False)
    check = 'when = "a < \'11.8 V\'"\nexpect = "a >= \'11.8 V\'"\nwithin = "3 s"\n'
    (found,), _ = run({"a": a}, f'[[check]]\nname = "c"\n{check}', end)
    assert row["verdict_at_t0"] == "satisfied"
    assert told(found) == ["2000 passed +3000 @5000"]


END = 60
BEFORE = 1000
"""How long the signals were known before time 0, so that looking back has something to look at."""
Steps = list[tuple[int, int]]
Stretches = list[tuple[int, int]]


def robustness(formula: str, signals: dict[str, Steps]) -> list[tuple[float, float]]:
    """(time, robustness from then on); the signals hold before time 0 what they are there."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import rtamt
    spec = rtamt.StlDenseTimeSpecification()
    for name in signals:
        spec.declare_var(name, "float")
    spec.spec = formula
    spec.parse()
    shifted = [
        [name, [[t + BEFORE, v] for t, v in [(-BEFORE, s[0][1]), *s[1:-1], (END + 2, s[-1][1])]]]
        for name, s in signals.items()
    ]
    return [(t - BEFORE, v) for t, v in spec.evaluate(*shifted)]


def at(result: list[tuple[float, float]], t: float) -> float:
    return next(v for start, v in reversed(result) if start <= t)


@st.composite
def steps_of_one(draw: st.DrawFn) -> Steps:
    times = sorted(draw(st.sets(st.integers(1, END - 1), max_size=12)))
    level = draw(st.sampled_from([-1, 1]))
    return [(0, level), *((t, level * (-1) ** (i + 1)) for i, t in enumerate(times)), (END, level * (-1) ** len(times))]


def text_of(signal: Steps) -> str:
    """The same signal for `stepped`; one unit is 1 ms."""
    return ", ".join([f"{-BEFORE} {'FT'[signal[0][1] > 0]}", *(f"{t} {'FT'[v > 0]}" for t, v in signal[1:-1])])


def result_of(signals: dict[str, Steps], check: str) -> CheckResult:
    (found,), _ = run({n: text_of(s) for n, s in signals.items()}, f'[[check]]\nname = "c"\n{check}', END)
    return found


RUNS = settings(
    max_examples=150, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)


@RUNS
@given(steps_of_one(), steps_of_one(), st.integers(0, 8), st.integers(1, 12))
def test_response(a: Steps, b: Steps, not_before: int, length: int) -> None:
    """Each rise of a: b true at it, or else not before `not_before` and then within `within`."""
    within = not_before + length
    in_time = f"(eventually[{not_before},{within}](b>=0))"
    formula = f"(b>=0) or {in_time}"
    if not_before:
        formula = f"(b>=0) or ({in_time} and (always[0,{not_before - 0.5}](not(b>=0))))"
    result = robustness(formula, {"b": b})
    rises = [t for t, v in a[1:-1] if v > 0 and t + within <= END]
    early = f'not_before = "{not_before} ms"\n' if not_before else ""
    check = f'when = "rises(a)"\nexpect = "b"\nwithin = "{within} ms"\nalready = "counts"\n{early}'
    found = result_of({"a": a, "b": b}, check)
    judged = {o.t_ns // 10**6: o.outcome.value for o in found.occurrences}
    assert {t: judged[t] for t in rises} == {t: "passed" if at(result, t) > 0 else "failed" for t in rises}


def _formulas(depth: int) -> st.SearchStrategy[tuple[str, str]]:
    """(for rtamt, for a check)."""
    leaf = st.sampled_from([("(a>=0)", "a"), ("(b>=0)", "b")])
    if depth == 0:
        return leaf
    below = _formulas(depth - 1)
    return st.one_of(
        leaf,
        below.map(lambda f: (f"(not {f[0]})", f"(not {f[1]})")),
        st.tuples(below, st.sampled_from(["and", "or"]), below).map(
            lambda p: (f"({p[0][0]} {p[1]} {p[2][0]})", f"({p[0][1]} {p[1]} {p[2][1]})")
        ),
        st.tuples(below, st.integers(1, 10)).map(
            lambda p: (f"(historically[0,{p[1]}]{p[0][0]})", f"held({p[0][1]}, '{p[1]} ms')")
        ),
    )


@RUNS
@given(steps_of_one(), steps_of_one(), _formulas(3), st.sampled_from([0, 0, 1, 3]), st.booleans())
def test_never_and_always(a: Steps, b: Steps, formula: tuple[str, str], settle: int, is_never: bool) -> None:
    """Each stretch in which the formula is true (false) for longer than `settle` is a failed occurrence there."""
    stl = formula[0] if is_never else f"(not {formula[0]})"
    check = f'{"never" if is_never else "always"} = "{formula[1]}"\n' + (f'settle = "{settle} ms"\n' if settle else "")
    found = result_of({"a": a, "b": b}, check)
    failed = [(o.t_ns // 10**6, (o.length_ns or 0) // 10**6) for o in found.occurrences if o.outcome.value == "failed"]
    wanted = true_in(robustness(stl, {"a": a, "b": b}))
    long = [(max(t, 0), min(end, END)) for t, end in wanted if end - t > settle and t + settle <= END]
    assert [(max(t, 0), t + length) for t, length in failed if t + length > 0 or t == 0] == long


def true_in(result: list[tuple[float, float]]) -> Stretches:
    """(start, end) of every stretch in which a formula is true, but for those before time 0."""
    ends = [t for t, _ in result[1:]] + [END + 2]
    pieces = [(int(t), int(end)) for (t, v), end in zip(result, ends, strict=True) if v > 0]
    joined: Stretches = []
    for t, end in pieces:
        start = joined.pop()[0] if joined and joined[-1][1] == t else t
        joined.append((start, end))
    return [(t, end) for t, end in joined if end > 0]
