"""Random checks on random signals: any cut tells the same at the same time, and what a naive evaluator says."""

from __future__ import annotations

from collections.abc import Sequence

from drawn import END, Trial, toml, trials
from hypothesis import HealthCheck, given, settings
from naive import points_of
from naive_checks import Found, judge
from stepped import run

from busprobe.checks.watching import Watcher
from busprobe.results import CheckResult, Occurrence, Outcome

NS = 1e-6
"""One tick in ms."""


@settings(max_examples=500, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
@given(trials())
def test_any_cut_and_naive_evaluator(trial: Trial) -> None:
    """One piece and any pieces give the same results, and those of the naive evaluator."""
    confirm(trial)


def confirm(trial: Trial) -> None:
    whole, pieces = result_of(trial, ()), result_of(trial, trial.cuts)
    assert pieces == whole
    if trial.is_defined:
        signals = {name: points_of(text) for name, text in trial.signals.items()}
        found, verdict, unseen = judge(trial.check, signals, END, trial.sampling)
        assert sorted(map(seen, whole.occurrences), key=repr) == sorted(found, key=repr)
        assert whole.verdict.value == verdict
        assert whole.start_not_seen == unseen


def result_of(trial: Trial, cuts: Sequence[int]) -> CheckResult:
    """The check's result; what is told before W is given out by the data up to W, and nothing else is."""
    given_out: list[tuple[int, list[int]]] = []

    def after_piece(upto: int, watchers: Sequence[Watcher]) -> None:
        given_out.append((upto, [o.decided_ns for w in watchers for o in w.done]))  # type: ignore[attr-defined]

    (result,), _ = run(
        trial.in_ms, toml(trial.check), END * NS, cuts_ms=[c * NS for c in cuts], sampling_ms=trial.sampling * NS,
        after_piece=after_piece,
    )  # fmt: skip
    for upto, decided in given_out[:-1]:
        assert sorted(decided) == [o.decided_ns for o in result.occurrences if o.decided_ns < upto]
    return result


def seen(o: Occurrence) -> Found:
    return Found(
        o.decided_ns, o.t_ns, o.outcome.value, o.part, None if o.outcome is Outcome.CUT else o.latency_ns,
        o.length_ns, o.uncertainty_ns if o.outcome is not Outcome.CUT else 0, o.tight,
        o.came_after_ns, o.never_came,
    )  # fmt: skip
