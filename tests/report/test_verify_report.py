"""The report on checks, as text and as JSON."""

import json
from dataclasses import dataclass, field, replace

import pytest

from busprobe.errors import Problems
from busprobe.report.as_json import dump, verify_json
from busprobe.report.not_passed import MOST_SHOWN
from busprobe.report.verified import exit_status, latencies
from busprobe.report.verify_text import occurrences_text, summary, verify_lines
from busprobe.results import (
    CheckResult,
    LogLine,
    Marker,
    Occurrence,
    Outcome,
    Stretch,
    TriggerEntry,
    Verdict,
    WalkResult,
)

MS = 1_000_000
START = 1_768_374_000 * 1_000_000_000


def at(ms: float) -> int:
    return START + round(ms * MS)


def passed(t_ms: float, latency_ms: float, **more: object) -> Occurrence:
    t = at(t_ms)
    return Occurrence(t, t + round(latency_ms * MS), Outcome.PASSED, latency_ns=round(latency_ms * MS), **more)  # type: ignore[arg-type]


REVERSE = CheckResult(
    "Rear white lamp follows reverse",
    Verdict.PASS,
    (passed(1000, 120, uncertainty_ns=5 * MS), passed(2000, 297, tight=True), passed(3000, 150),
     Occurrence(at(4000), at(4150), Outcome.CUT)),
    "expect",
    "rear_white within 300 ms of gear == 'R'",
    300 * MS,
    start_not_seen=1,
)  # fmt: skip
SIREN = CheckResult(
    "Siren silent in park",
    Verdict.FAIL,
    (Occurrence(at(73412), at(73612), Outcome.FAILED, length_ns=850 * MS, at_ns=at(73612), note="on in park",
                signals={"siren": "on", "gear": "P"}),),
    "never",
    "never siren and gear == 'P', longer than 200 ms",
    glitches=2,
)  # fmt: skip
STRIP = CheckResult(
    "Work lamp strip follows the side door",
    Verdict.UNDECIDED,
    (passed(100, 40, part="on"), passed(900, 260, part="off", limit_ns=400 * MS),
     Occurrence(at(5000), at(5200), Outcome.UNDECIDED, part="on", at_ns=at(5200), note="unknown in the window",
                signals={"strip": "unknown", "side_door": "on"})),
    "follows",
    "strip on within 200 ms of side_door, off within 400 ms",
    200 * MS,
)  # fmt: skip
SHED = CheckResult("Loads shed after key-off", Verdict.NOT_EXERCISED, (), "expect", "not aux_feed within 31 min", 10**9,
                   when="falls(ignition)")  # fmt: skip


@dataclass(frozen=True)
class Found:
    checks: tuple[CheckResult, ...] = (REVERSE, SIREN, STRIP, SHED)
    triggers: tuple[TriggerEntry, ...] = (
        TriggerEntry("Rear door opens while moving", at(95120), at(95140), {"rear_door": "on", "speed": "12.4 km/h"}),
    )
    log: tuple[LogLine, ...] = (
        LogLine(at(90000), at(88000), 0, "asleep", "body", "5.2 s after the last frame"),
        LogLine(at(95140), at(95120), 3, "trigger", "Rear door opens while moving"),
    )
    start_ns: int = START
    end_ns: int = at(600_000)
    vehicle: str = "Roads patrol van 12"
    recording: str = "handover.log"
    frames: int = 412_345
    problems: Problems = field(default_factory=Problems)
    notes: tuple[str, ...] = ("Channel can0 is taken for bus body.",)
    markers: tuple[Marker, ...] = ()
    walk: tuple[WalkResult, ...] = ()
    unknown: tuple[Stretch, ...] = ()


REPORT = """\
Vehicle    Roads patrol van 12
Recording  handover.log
Begins     2026-01-14 07:00:00 UTC
Length     10 min, 412,345 frames

Verdicts
========
verdict        check                        occurrences              worst   median      +/-   limit   margin
-------------  ---------------------------  ---------------------  -------  -------  -------  ------  -------  -------
pass           Rear white lamp follows      3 passed, 1 cut short   297 ms   150 ms  5.00 ms  300 ms  3.00 ms  1 tight
               reverse
fail           Siren silent in park         1 failed
undecided      Work lamp strip follows the  2 passed, 1 undecided
               side door
                 on                         1 passed, 1 undecided  40.0 ms  40.0 ms           200 ms   160 ms
                 off                        1 passed                260 ms   260 ms           400 ms   140 ms
not exercised  Loads shed after key-off     none                                                 1 s

cut short: `when` or the data ended before the outcome could be told; not held against it.
tight: by less than its uncertainty (+/-): measured more exactly it might be the other way.
start not seen: true at first sight or after unknown, so its beginning was not seen.

Also counted
============
  Rear white lamp follows reverse: start not seen once.
  Siren silent in park: 2 glitches taken out by the debounce.

Not passed
==========
Siren silent in park: fail
  expected: never siren and gear == 'P', longer than 200 ms
  73.412 s  failed, on in park, for 850 ms, at 73.612 s
      siren on, gear P

Work lamp strip follows the side door: undecided
  expected: strip on within 200 ms of side_door, off within 400 ms
  5.000 s  undecided, part on, unknown in the window, at 5.200 s
      strip unknown, side_door on

Loads shed after key-off: not exercised
  expected: not aux_feed within 31 min
  "falls(ignition)" never became true: operate it.

Trigger log
===========
    time  logged                        with
--------  ----------------------------  -----------------------------
88.000 s  body asleep                   5.2 s after the last frame
95.120 s  Rear door opens while moving  rear_door on, speed 12.4 km/h

Summary
=======
4 checks: 1 pass, 1 fail, 1 undecided, 1 not exercised.
Channel can0 is taken for bus body.
A pass is evidence of behaviour in this recording, and no certificate: the local
code and licensed practice decide.
"""


def test_the_whole_text() -> None:
    assert "\n".join(verify_lines(Found())) + "\n" == REPORT


def test_a_run_in_which_all_pass_has_no_section_for_the_rest() -> None:
    lines = verify_lines(Found(checks=(REVERSE,), triggers=(), log=()))
    assert "Not passed" not in lines
    assert "Trigger log" not in lines
    assert "1 check: 1 pass." in lines


def test_outcomes_of_the_worked_case() -> None:
    assert occurrences_text(REVERSE.occurrences) == "3 passed, 1 cut short"
    assert occurrences_text(()) == "none"
    assert summary(()) == "No check in the bench file."


def test_many_failures_are_shown_in_part() -> None:
    many = tuple(Occurrence(at(k), at(k), Outcome.FAILED) for k in range(MOST_SHOWN + 7))
    lines = verify_lines(Found(checks=(CheckResult("x", Verdict.FAIL, many, "never", "never x"),)))
    assert "      and 7 more; --json FILE writes all of them" in lines


def test_latencies_of_a_part_use_its_own_limit() -> None:
    off = [o for o in STRIP.occurrences if o.part == "off"]
    timed = latencies(STRIP, off)
    assert timed is not None
    assert (timed.limit_ns, timed.margin_ns) == (400 * MS, 140 * MS)
    assert latencies(SHED, ()) is None


def test_on_stands_before_off_whichever_came_first() -> None:
    """As in every other table."""
    first_off = replace(STRIP, occurrences=tuple(sorted(STRIP.occurrences, key=lambda o: o.part)))
    assert first_off.occurrences[0].part == "off"
    lines = verify_lines(Found(checks=(first_off,), triggers=(), log=()))
    parts = [line.split()[0] for line in lines if line.startswith(" ") and line.split()[:1] in (["on"], ["off"])]
    assert parts == ["on", "off"]


def test_exit_status() -> None:
    assert exit_status([REVERSE]) == 0
    assert exit_status([REVERSE, SIREN, STRIP]) == 1
    assert exit_status([REVERSE, STRIP]) == 2
    assert exit_status([REVERSE, SHED]) == 2


def test_json_has_the_fields_promised() -> None:
    report = json.loads(dump(verify_json(Found())))
    reverse, siren, *_ = report["checks"]
    assert (reverse["name"], reverse["verdict"]) == ("Rear white lamp follows reverse", "pass")
    first = reverse["occurrences"][0]
    assert {key: first[key] for key in ("t_ns", "t_s", "decided_ns", "outcome", "latency_ms")} == {
        "t_ns": at(1000), "t_s": 1.0, "decided_ns": at(1120), "outcome": "passed", "latency_ms": 120.0,
    }  # fmt: skip
    assert siren["occurrences"][0]["latency_ms"] is None
    assert siren["occurrences"][0]["signals"] == {"siren": "on", "gear": "P"}
    assert (reverse["needed"], report["checks"][3]["when"]) == (1, "falls(ignition)")
    assert (first["came_after_ms"], first["never_came"]) == (None, False)
    assert reverse["counts"] == {"passed": 3, "failed": 0, "undecided": 0, "already so": 0, "cut short": 1}
    (trigger,) = report["triggers"]
    assert {key: trigger[key] for key in ("name", "t_ns", "t_s", "decided_ns", "signals")} == {
        "name": "Rear door opens while moving", "t_ns": at(95120), "t_s": 95.12, "decided_ns": at(95140),
        "signals": {"rear_door": "on", "speed": "12.4 km/h"},
    }  # fmt: skip
    assert report["exit_status"] == 1


def test_json_counts_problems() -> None:
    problems = Problems()
    problems.add('payload "A44" has an odd number of hex digits.', path="a.log", line=3)
    assert verify_json(Found(problems=problems))["problems"] == {
        "count": 1,
        "first": ['a.log, line 3: payload "A44" has an odd number of hex digits.'],
    }


def test_json_says_how_exactly_a_failure_is_known() -> None:
    late = Occurrence(
        at(9000), at(9300), Outcome.FAILED, uncertainty_ns=15 * MS, tight=True, came_after_ns=310 * MS,
    )  # fmt: skip
    check = replace(REVERSE, verdict=Verdict.FAIL, occurrences=(late,))
    (told,) = json.loads(dump(verify_json(Found(checks=(check,)))))["checks"]
    assert told["tight"] == 1
    (one,) = told["occurrences"]
    assert (one["latency_ms"], one["came_after_ms"], one["uncertainty_ms"], one["tight"]) == (None, 310.0, 15.0, True)


LATE = Occurrence(at(9000), at(9300), Outcome.FAILED, note="not within the time allowed", came_after_ns=450 * MS)
NEVER = Occurrence(at(9500), at(9800), Outcome.FAILED, note="not within the time allowed", never_came=True)
UNFOLLOWED = Occurrence(at(9900), at(9999), Outcome.FAILED, note="not within the time allowed")


@pytest.mark.parametrize(
    ("failed", "worst", "median"),
    [
        pytest.param((LATE,), "450 ms", "224 ms", id="a late one is the worst of those that came"),
        pytest.param((LATE, NEVER), "never", "224 ms", id="one that never came is worse"),
        pytest.param((UNFOLLOWED,), "297 ms", "150 ms", id="of one that was not seen to come nothing is known"),
    ],
)
def test_the_worst_is_of_all_that_came_and_where_one_failed_there_is_no_margin(
    failed: tuple[Occurrence, ...], worst: str, median: str
) -> None:
    check = replace(REVERSE, verdict=Verdict.FAIL, occurrences=(*REVERSE.occurrences, *failed))
    text = "\n".join(verify_lines(Found(checks=(check,))))
    row = next(line for line in text.splitlines() if line.startswith("fail "))
    assert f" {worst} {median} 5.00 ms 300 ms" in " ".join(row.split())
    assert "3.00 ms" not in row
    assert "worst, median: of all that came, late ones too; where one failed there is no margin." in text
    assert ("never: one or more did not come while `when` lasted." in text) == (worst == "never")


def test_json_has_the_worst_of_all_that_came() -> None:
    check = replace(REVERSE, verdict=Verdict.FAIL, occurrences=(*REVERSE.occurrences, LATE))
    (told,) = verify_json(Found(checks=(check,)))["checks"]  # type: ignore[misc,union-attr]
    assert (told["worst_ms"], told["median_ms"]) == (450.0, 223.5)  # type: ignore[index,call-overload]


def test_where_none_came_at_all_the_worst_is_never() -> None:
    check = replace(REVERSE, verdict=Verdict.FAIL, occurrences=(NEVER,))
    row = next(line for line in verify_lines(Found(checks=(check,))) if line.startswith("fail "))
    assert row.split()[-5:] == ["1", "failed", "never", "300", "ms"]
