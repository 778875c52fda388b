"""Random lamps: what is said of their flashing is what a naive evaluator says, wherever the data are cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from naive import points_of
from naive_checks import Check, Found, judge
from naive_flash import TICK_NS, functions
from stepped import run

from busprobe.results import CheckResult, Occurrence, Outcome

TICK_MS = TICK_NS // 1_000_000
END = 900
"""The last tick; a tick is 10 ms."""


@st.composite
def lamps(draw: st.DrawFn) -> str:
    """A lamp that flashes in several ways and is lost at times: "0 F, 50 T, 70 F" in ticks."""
    points, tick = ["0 F"], 0
    while tick < END:
        on, off = draw(st.sampled_from([(5, 5), (3, 9), (30, 70), (45, 15), (20, 130), (20, 131), (40, 160), (7, 7)]))
        for _ in range(draw(st.sampled_from([1, 2, 3, 5, 6, 16]))):
            tick += off + draw(st.integers(0, 2))
            points += [f"{tick} T", f"{tick + on} F"]
            tick += on + draw(st.integers(0, 2))
        gap = draw(st.integers(1, 200))
        lost = draw(st.sampled_from(["F", "F", "T", "?", "z"]))
        points += [f"{tick + 1} {lost}", f"{tick + 1 + gap} {draw(st.sampled_from('FFT'))}"]
        tick += gap + 2
    return ", ".join(p for p in points if int(p.split()[0]) <= END)


CHECKS = [
    *(Check(never=f"{function}(x)") for function in ("flashing", "steady_on", "steady_off")),
    Check(always="flashing(x)"),
    *(Check(always=f"flash_rate(x) {limit}") for limit in ("== 0", "<= 60", "< 120", "> 100")),
    *(Check(always=f"on_share(x) {limit}") for limit in ("<= '30 %'", "< '75 %'", "> '20 %'")),
    Check(when="w", expect="flashing(x)", within=60, hold="while when", settle=10),
    Check(when="w", expect="flash_rate(x) > 60", within=100, hold=200),
    Check(when="flashing(x)", expect="w", within=60, hold="while when", settle=10),
]  # fmt: skip


@settings(max_examples=100, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
@given(
    lamps(),
    st.sampled_from(CHECKS),
    st.lists(st.integers(0, END), max_size=4),
    st.sampled_from([0, 0, 1, 2]),
    st.lists(st.integers(1, 300), max_size=5),
)
def test_naive_evaluator(lamp: str, check: Check, cuts: list[int], sampling: int, whens: list[int]) -> None:
    confirm(lamp, check, cuts, sampling, whens)


def confirm(lamp: str, check: Check, cuts: list[int], sampling: int, whens: list[int]) -> None:
    ticks = [sum(whens[: i + 1]) for i in range(len(whens))]
    when = ", ".join(["0 F", *(f"{t} {'FT'[i % 2 == 0]}" for i, t in enumerate(ticks) if t <= END)])
    signals = {"x": lamp, "w": when}
    sampling = sampling if check.when is None else 0
    whole, pieces = (result_of(signals, check, sampling, c) for c in ((), sorted(cuts)))
    assert pieces == whole
    points = {name: points_of(text) for name, text in signals.items()}
    found, verdict, unseen = judge(check, points, END, 0, functions(sampling))
    found = [replace(f, uncertainty=0) for f in found]
    assert sorted(map(seen, whole.occurrences), key=repr) == sorted(found, key=repr)
    assert (whole.verdict.value, whole.start_not_seen) == (verdict, unseen)


def result_of(signals: dict[str, str], check: Check, sampling: int, cuts: Sequence[int]) -> CheckResult:
    in_ms = {
        name: ", ".join(f"{int(at) * TICK_MS} {what}" for at, what in (p.split() for p in text.split(", ")))
        for name, text in signals.items()
    }
    (result,), _ = run(
        in_ms, toml(check), END * TICK_MS, cuts_ms=[c * TICK_MS for c in cuts], sampling_ms=sampling * TICK_MS
    )
    return result


def toml(check: Check) -> str:
    lines = ["[[check]]", 'name = "c"']
    for key in ("when", "expect", "never", "always"):
        if text := getattr(check, key):
            lines.append(f'{key} = "{text}"')
    for key in ("within", "settle"):
        if ticks := getattr(check, key):
            lines.append(f'{key} = "{ticks * TICK_MS} ms"')
    if check.hold is not None:
        lines.append(f'hold = "{check.hold if isinstance(check.hold, str) else f"{check.hold * TICK_MS} ms"}"')
    return "\n".join(lines) + "\n"


def seen(o: Occurrence) -> Found:
    latency = None if o.outcome is Outcome.CUT else o.latency_ns
    times = (o.decided_ns, o.t_ns, latency, o.length_ns, o.came_after_ns)
    decided, t, latency, length, came = (in_ticks(ns) for ns in times)
    assert decided is not None
    assert t is not None
    return Found(decided, t, o.outcome.value, o.part, latency, length, came=came, never=o.never_came)


def in_ticks(ns: int | None) -> int | None:
    assert ns is None or ns % TICK_NS == 0
    return None if ns is None else ns // TICK_NS
