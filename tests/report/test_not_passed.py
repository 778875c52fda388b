"""What the report says of checks that did not pass: why, once where alike, and which signals were lost."""

import pytest

from busprobe.report.lost_signals import lost_lines
from busprobe.report.not_passed import MOST_SHOWN, not_passed
from busprobe.results import CheckResult, Occurrence, Outcome, Stretch, Verdict

MS = 1_000_000
S = 1000 * MS
WHEN = "beacon_switch and gear != 'P'"


def check(*occurrences: Occurrence, verdict: Verdict = Verdict.FAIL, **more: object) -> CheckResult:
    return CheckResult("Beacons", verdict, occurrences, **{"kind": "expect", "expected": "on", **more})  # type: ignore[arg-type]


def ended(outcome: Outcome, part: str = "") -> Occurrence:
    return Occurrence(S, S, outcome, part)


def missed(t_ns: int, **more: object) -> Occurrence:
    note = "not within the time allowed"
    return Occurrence(t_ns, t_ns + 300 * MS, Outcome.FAILED, at_ns=t_ns + 300 * MS, note=note, **more)  # type: ignore[arg-type]


def unknown(t_ns: int, length_ns: int | None, **signals: str) -> Occurrence:
    return Occurrence(t_ns, t_ns, Outcome.UNDECIDED, length_ns=length_ns, note="unknown", signals=signals)


REASONS = {
    "never true": ([], {"when": WHEN}, [f'"{WHEN}" never became true: operate it.']),
    "never known": (
        [],
        {"when": WHEN, "when_known": False},
        [f'"{WHEN}" was never known: nothing came from what it is made of.'],
    ),
    "start not seen": (
        [],
        {"when": "door", "start_not_seen": 2},
        ['"door" was true, but its beginning was not seen: end it and operate it again.'],
    ),
    "too few": ([ended(Outcome.PASSED)], {"when": WHEN, "needed": 2}, ["1 of 2 passes needed"]),
    "only already so": (
        [ended(Outcome.ALREADY)] * 3,
        {"when": WHEN},
        ['true beforehand each time, which proves nothing (already = "counts" would count it)'],
    ),
    "only cut short": (
        [ended(Outcome.CUT)],
        {"when": WHEN},
        ["cut short each time: let it last until the outcome can be told"],
    ),
    "both": (
        [ended(Outcome.CUT), ended(Outcome.ALREADY)],
        {"when": WHEN},
        ["none passed: each time true beforehand, which proves nothing, or cut short"],
    ),
    "one half": (
        [ended(Outcome.PASSED, "on")],
        {"when": "door", "kind": "follows"},
        ['off: "door" was never seen to end: operate it.'],
    ),
    "both halves": (
        [ended(Outcome.PASSED, "on"), ended(Outcome.ALREADY, "off")],
        {"when": "door", "kind": "follows", "needed": 2},
        [
            "on: 1 of 2 passes needed",
            'off: true beforehand each time, which proves nothing (already = "counts" would count it)',
        ],
    ),
}


@pytest.mark.parametrize(("occurrences", "more", "lines"), REASONS.values(), ids=list(REASONS))
def test_why_not_exercised(occurrences, more, lines):
    found = not_passed([check(*occurrences, verdict=Verdict.NOT_EXERCISED, **more)], 0)
    assert found[found.index("  expected: on") + 1 :] == [f"  {line}" for line in lines]


def test_failures_that_are_alike_are_listed_once():
    signals = {"brake": "Pressed", "rear_warning": "on"}
    found = not_passed([check(*(missed(k * S, signals=signals, came_after_ns=(361 + k) * MS) for k in (1, 2, 40)))], 0)
    assert found[-4:] == [
        "  expected: on",
        "  failed 3 times alike, not within the time allowed, came after 362 ms to 401 ms: 1.000 s,",
        "  2.000 s, 40.000 s",
        "      brake Pressed, rear_warning on",
    ]


def test_a_failure_says_how_exactly_it_is_known_and_whether_it_is_in_doubt():
    doubt = {"uncertainty_ns": 15 * MS, "tight": True}
    late = [missed(k * S, came_after_ns=(309 + k) * MS, **doubt) for k in (1, 2)]
    clear = missed(3 * S, came_after_ns=375 * MS, uncertainty_ns=10 * MS)
    early = Occurrence(4 * S, 4 * S, Outcome.FAILED, at_ns=4 * S + 195 * MS, note="early", **doubt)
    assert not_passed([check(*late, clear, early)], 0)[-4:] == [
        "  failed 2 times alike, not within the time allowed, came after 310 ms to 311 ms +/- 15.0 ms,",
        "  tight: 1.000 s, 2.000 s",
        "  3.000 s  failed, not within the time allowed, at 3.300 s, came after 375 ms +/- 10.0 ms",
        "  4.000 s  failed, early, at 4.195 s, tight",
    ]


def test_a_failure_unlike_the_one_before_stands_alone():
    found = not_passed([check(missed(S, came_after_ns=375 * MS), missed(2 * S, never_came=True), missed(3 * S))], 0)
    assert found[-3:] == [
        "  1.000 s  failed, not within the time allowed, at 1.300 s, came after 375 ms",
        "  2.000 s  failed, not within the time allowed, at 2.300 s, never came while it lasted",
        "  3.000 s  failed, not within the time allowed, at 3.300 s",
    ]


def test_many_alike_are_listed_in_part():
    found = not_passed([check(*(missed(k * S) for k in range(MOST_SHOWN + 7)))], 0)
    assert found[-1] == "      and 7 more; --json FILE writes all of them"


def test_many_unlike_are_listed_in_part():
    found = not_passed([check(*(missed(k * S, signals={"n": str(k)}) for k in range(MOST_SHOWN + 7)))], 0)
    assert found[-1] == "  and 7 more; --json FILE writes all of them"


def test_lost_signals_stand_at_the_top_each_once():
    gear = "unknown (lost)"
    checks = [
        check(unknown(431_689 * MS, 2920 * MS, gear=gear, lamp="on"), verdict=Verdict.UNDECIDED),
        check(
            unknown(375_450 * MS, 1140 * MS, rear_door="unknown (chattering)"),
            unknown(431_900 * MS, None, gear=gear),
            verdict=Verdict.UNDECIDED,
        ),
    ]
    assert not_passed(checks, 0)[2:8] == [
        "==========",
        "Signals lost",
        "  rear_door: chattering for at least 1.14 s at 375.450 s: check the switch and its wire",
        "  gear: lost for at least 2.92 s at 431.689 s: check what sends it and the wires of the bus",
        "",
        "Beacons: undecided",
    ]


def test_a_loss_is_as_long_as_its_signal_was_unknown():
    gear = "unknown (lost)"
    checks = [check(unknown(5 * S, S, gear=gear), unknown(7 * S, S, gear=gear), unknown(20 * S, S, gear=gear))]
    stretches = [Stretch("gear", 4 * S, 9 * S), Stretch("speed", S, 8 * S), Stretch("gear", 19 * S, None)]
    assert lost_lines(checks, S, stretches)[2:] == [
        "  gear: lost for 5 s from 3.000 s: check what sends it and the wires of the bus",
        "  gear: lost from 18.000 s to the end: check what sends it and the wires of the bus",
    ]


def test_a_loss_with_two_reasons_is_one():
    losses = [unknown(5 * S, S, gear="unknown (adapter down)"), unknown(7 * S, S, gear="unknown (not seen again)")]
    assert " ".join(line.strip() for line in lost_lines([check(*losses)], 0, [Stretch("gear", 4 * S, 9 * S)])[2:]) == (
        "gear: adapter down, then not seen again for 5 s from 4.000 s: it did not come after the adapter was back: "
        "check what sends it"
    )


def test_a_length_that_is_not_known_is_told_as_the_least():
    losses = [unknown(9 * S, S, gear="unknown (lost)")]
    assert lost_lines([check(*losses)], 0, [Stretch("gear", 4 * S, 9 * S)])[2].startswith(
        "  gear: lost for at least 1 s at 9.000 s"
    )


def test_two_losses_of_one_signal_are_two():
    losses = [unknown(t * S, S, gear="unknown (box down)") for t in (1, 5)]
    assert lost_lines([check(*losses)], 0)[2:] == [
        "  gear: box down for at least 1 s at 1.000 s: check the box, its supply and its cable",
        "  gear: box down for at least 1 s at 5.000 s: check the box, its supply and its cable",
    ]


def test_sleep_is_no_loss():
    assert lost_lines([check(unknown(S, S, gear="unknown (asleep)"))], 0) == []
