"""The bench file over the van's data: all checks pass, and each planted fault touches its own check."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

from busprobe.bench.load import load
from busprobe.decode.database import load as load_database
from busprobe.engine.engine import Engine, Results
from busprobe.engine.plan import build
from busprobe.frames import FrameBatch, InputBatch
from busprobe.results import Outcome, Verdict
from busprobe.van.faults import ALL_FAULTS, Fault
from busprobe.van.generate import START_NS, generate, planted

BENCH = load(Path(__file__).parents[2] / "dbc_samples" / "patrol_van.toml")
PLAN = build(BENCH, {"body": [load_database(path) for path in BENCH.buses[0].databases]})

FINDS = {
    Fault.LATE_REAR_WHITE: Verdict.FAIL,
    Fault.SIREN_IN_PARK: Verdict.FAIL,
    Fault.CHATTERING_DOOR: Verdict.UNDECIDED,
    Fault.SIGNAL_LOST: Verdict.UNDECIDED,
    Fault.NEVER_YIELDS: Verdict.FAIL,
}


@functools.cache
def evaluate(seed: int, faults: tuple[Fault, ...] = ()) -> Results:
    engine = Engine(PLAN, ["states", "body", "box"])
    for batch in generate(seed, faults):
        source = "body" if isinstance(batch, FrameBatch) else "box" if isinstance(batch, InputBatch) else "states"
        engine.push(source, batch)
    return engine.finish()


@pytest.mark.parametrize("seed", [1, 2, 77])
def test_without_faults_every_check_passes(seed):
    results = evaluate(seed)
    assert {c.name: c.verdict for c in results.checks} == dict.fromkeys((c.name for c in BENCH.checks), Verdict.PASS)
    reverse = results.checks[0]
    assert (reverse.count(Outcome.PASSED), reverse.count(Outcome.CUT)) == (3, 1)
    assert {t.name for t in results.triggers} == {t.name for t in BENCH.triggers}
    assert not any(o.tight for c in results.checks for o in c.occurrences)


@pytest.mark.parametrize("faults", [*((f,) for f in Fault), ALL_FAULTS], ids=lambda f: "+".join(x.name for x in f))
def test_faults_touch_their_own_checks_and_no_others(faults):
    results = evaluate(2, faults)
    bad = {c.name: c for c in results.checks if c.verdict is not Verdict.PASS}
    table = planted(2, faults)
    assert {name: c.verdict for name, c in bad.items()} == {p.check_name: FINDS[p.fault] for p in table}
    for place in table:
        outcome = Outcome.FAILED if FINDS[place.fault] is Verdict.FAIL else Outcome.UNDECIDED
        found = [o for o in bad[place.check_name].occurrences if o.outcome is outcome]
        assert 0 <= found[0].t_ns - place.t_ns < 600_000_000
        assert len(found) == (13 if place.fault is Fault.NEVER_YIELDS else 1)


def test_latencies_are_spread_out():
    """A sample of one value would prove little about how latencies are measured."""
    for check in evaluate(1).checks:
        latencies = {o.latency_ns // 1_000_000 for o in check.occurrences if o.latency_ns}
        if check.count(Outcome.PASSED) >= 3 and latencies:
            assert len(latencies) >= 3, check.name


def test_the_van_is_asleep_before_the_first_frame_and_after_the_last():
    lines = [(line.kind, round((line.t_ns - START_NS) / 1e9)) for line in evaluate(1).log if line.name == "body"]
    assert lines == [("asleep", 0), ("awake", 6), ("asleep", 556)]
