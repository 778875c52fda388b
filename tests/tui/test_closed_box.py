"""The controller as a closed box: what each outcome says, and how the boxes are drawn."""

from __future__ import annotations

import dataclasses

import fake_van
import pytest

from busprobe.results import CheckResult, Occurrence, Outcome, Verdict
from busprobe.session.snapshot import ClosedBox, Snapshot
from busprobe.tui.view.closed_box import (
    bar,
    drawn,
    in_one_line,
    in_order,
    is_standing,
    largest,
    next_check,
    opened,
    passage,
    standing,
)
from busprobe.tui.view.spans import plain, width_of

MS, S = fake_van.MS, fake_van.S
START = fake_van.START
CAUSE = START + 100 * S


def picture(*occurrences: Occurrence, after_ms: int = 120) -> Snapshot:
    check = CheckResult("Lamp", Verdict.PASS, occurrences, "expect", "", 300 * MS)
    return dataclasses.replace(fake_van.LIVE, checks=(check,), t_ns=CAUSE + after_ms * MS)


def ended(outcome: Outcome, **more: object) -> Occurrence:
    return Occurrence(CAUSE, CAUSE + 300 * MS, outcome, **more)  # type: ignore[arg-type]


def closed(effect_ms: int | None = None, *, cause_ns: int | None = CAUSE) -> ClosedBox:
    effect = None if effect_ms is None else CAUSE + effect_ms * MS
    return ClosedBox("gear == 'R'", cause_ns, "rear_white", effect, "Lamp", 300 * MS)


@pytest.mark.parametrize(
    ("box", "shown", "caused", "effected", "delay", "share", "verdict"),
    [
        pytest.param(
            closed(cause_ns=None), picture(), "no edge yet", "-", "-", None, "○ not exercised", id="no edge yet"
        ),
        pytest.param(
            closed(), picture(), "at 01:40.000", "not come yet", "120 ms so far", 0.4, "… waiting", id="waiting"
        ),
        pytest.param(
            closed(128), picture(ended(Outcome.PASSED, latency_ns=128 * MS)),
            "at 01:40.000", "at 01:40.128", "128 ms", 128 / 300, "✓ passed", id="passed",
        ),
        pytest.param(
            closed(296), picture(ended(Outcome.PASSED, latency_ns=296 * MS, tight=True)),
            "at 01:40.000", "at 01:40.296", "296 ms", 296 / 300, "✓ passed, tight", id="tight",
        ),
        pytest.param(
            closed(), picture(ended(Outcome.FAILED)),
            "at 01:40.000", "no edge counted", "-", None, "✗ FAILED", id="failed",
        ),
        pytest.param(
            closed(), picture(ended(Outcome.FAILED, came_after_ns=428_600_000, note="not within the time allowed")),
            "at 01:40.000", "came after 428.6 ms", "428.6 ms", 428.6 / 300, "✗ FAILED: not within the time allowed",
            id="failed, came late",
        ),
        pytest.param(
            closed(), picture(ended(Outcome.FAILED, never_came=True, part="on")),
            "on at 01:40.000", "on never came while it lasted", "never", None, "✗ FAILED", id="failed, never came",
        ),
        pytest.param(
            closed(20), picture(ended(Outcome.FAILED, latency_ns=20 * MS, note="early")),
            "at 01:40.000", "at 01:40.020", "20 ms", 20 / 300, "✗ FAILED: early", id="early",
        ),
        pytest.param(
            closed(), picture(ended(Outcome.ALREADY)),
            "at 01:40.000", "no edge counted", "-", None, "= already so, proves nothing", id="already so",
        ),
        pytest.param(
            closed(), picture(ended(Outcome.CUT, note="data ended")),
            "at 01:40.000", "no edge counted", "-", None, "/ cut short: data ended", id="cut short",
        ),
        pytest.param(
            closed(), picture(ended(Outcome.UNDECIDED, note="rear_white unknown")),
            "at 01:40.000", "no edge counted", "-", None, "? undecided: rear_white unknown", id="undecided",
        ),
        pytest.param(
            closed(90), picture(ended(Outcome.PASSED, part="off", latency_ns=90 * MS, limit_ns=100 * MS)),
            "off at 01:40.000", "off at 01:40.090", "90 ms", 0.9, "✓ passed", id="off half, limit of its own",
        ),
    ],
)  # fmt: skip
def test_passage(
    box: ClosedBox, shown: Snapshot, caused: str, effected: str, delay: str, share: float | None, verdict: str
) -> None:
    says = passage(box, shown)
    assert (says.caused, says.effected, says.delay, says.told) == (caused, effected, delay, verdict)
    assert says.share == (None if share is None else pytest.approx(share))


PASSED = ended(Outcome.PASSED, latency_ns=296 * MS, uncertainty_ns=10 * MS, tight=True)
MISSED = ended(Outcome.FAILED, came_after_ns=305 * MS, uncertainty_ns=10 * MS, tight=True, note="not in time")
NEVER = ended(Outcome.FAILED, never_came=True)


@pytest.mark.parametrize(
    ("one", "effected", "delay", "told"),
    [
        (PASSED, "at 01:40.296", "296 ms ± 10 ms", "✓ passed, tight"),
        (MISSED, "came after 305 ms ± 10 ms", "305 ms ± 10 ms", "✗ FAILED, tight: not in time"),
        (NEVER, "never came while it lasted", "never ", "✗ FAILED"),
    ],
    ids=["passed", "failed", "never came"],
)
def test_how_exactly_the_delay_is_known(one: Occurrence, effected: str, delay: str, told: str) -> None:
    says = passage(closed(296 if one is PASSED else None), picture(one))
    assert (says.effected, f"{says.delay} {says.doubt}", says.told) == (effected, delay, told)
    assert f"┃ {delay.rstrip()}, limit 300 ms, {told} ┃" in plain(in_one_line(says, "Lamp", 120))
    for width, limit in ((110, "   limit 300 ms"), (70, " of 300 ms")):
        small = [plain(line) for line in drawn(says, "Lamp", width)]
        assert any(f"{delay.rstrip()}{limit if says.doubt else '   limit 300 ms'} " in line for line in small)


@pytest.mark.parametrize(("width", "beside"), [(110, "▀▀▀    ▀  ms ± 10 ms"), (80, "✗ FAILED   ± 10 ms, limit 300 ms")])
def test_beside_block_letters_too(width: int, beside: str) -> None:
    """Where the letters leave no room it stands before the limit."""
    one = ended(Outcome.FAILED, came_after_ns=478_614_000, uncertainty_ns=10 * MS)
    lines = [plain(line)[20:-20] for line in largest(passage(closed(), picture(one)), "Lamp", width, 10)]
    assert sum("± 10 ms" in line for line in lines) == 1
    assert any(beside in line for line in lines)


def test_the_output_says_what_it_is_at_this_instant() -> None:
    says = passage(closed(128), picture(ended(Outcome.PASSED, latency_ns=128 * MS)))
    assert plain(says.effect_now) == "now ● on"
    assert plain(says.cause_now) == ""


@pytest.mark.parametrize(
    ("share", "text"),
    [(None, "░░░░░░░░░░"), (0.0, "░░░░░░░░░░"), (0.5, "█████░░░░░"), (1.0, "██████████"), (3.0, "██████████")],
)
def test_bar(share: float | None, text: str) -> None:
    assert bar(share, 10) == text


@pytest.mark.parametrize(
    ("room", "height"), [(0, 5), (7, 5), (8, 8), (11, 10), (12, 12), (14, 14)],
    ids=["plain", "no room", "verdict", "both small", "delay larger", "both larger"],
)  # fmt: skip
@pytest.mark.parametrize("width", [66, 80, 120])
def test_every_line_fills_its_width(width: int, room: int, height: int) -> None:
    says = passage(closed(128), picture(ended(Outcome.PASSED, latency_ns=128 * MS)))
    lines = largest(says, "Lamp", width, room) if room else drawn(says, "Lamp", width)
    assert len(lines) == height
    assert len({width_of(line) for line in lines}) == 1
    assert width - 1 <= width_of(lines[0]) <= width


def test_the_verdict_is_large_for_the_back_of_a_room() -> None:
    says = passage(closed(), picture(ended(Outcome.FAILED, came_after_ns=428_600_000, note="not in time")))
    lines = [plain(line) for line in largest(says, "Lamp", 110, 12)]
    assert sum("█▀▀▀ ▄▀▀▄ ▀█▀ █    █▀▀▀ █▀▀▄" in line for line in lines) == 1
    assert any("✗ FAILED   limit 300 ms" in line for line in lines)
    assert any("not in time" in line for line in lines)


@pytest.mark.parametrize("width", [66, 78, 120])
def test_what_came_of_a_failure_is_never_cut(width: int) -> None:
    never = passage(closed(), picture(ended(Outcome.FAILED, never_came=True, note="not within the time allowed")))
    words = " ".join(part for line in drawn(never, "Lamp", width) for part in plain(line).split("│")[-2:-1])
    assert "never came while it lasted" in " ".join(words.split())
    assert "not within the time allowed" in "".join(plain(line) for line in drawn(never, "Lamp", max(width, 78)))


def test_one_line_where_boxes_do_not_fit() -> None:
    says = passage(closed(128), picture(ended(Outcome.PASSED, latency_ns=128 * MS)))
    line = plain(in_one_line(says, "Lamp", 90)).rstrip()
    assert line == "gear == 'R' ─▶ ┃ 128 ms, limit 300 ms, ✓ passed ┃─▶ rear_white   Lamp"


def test_one_line_says_why_too() -> None:
    says = passage(closed(), picture(ended(Outcome.FAILED, never_came=True, note="not in time")))
    line = plain(in_one_line(says, "Lamp", 110)).rstrip()
    assert line == "gear == 'R' ─▶ ┃ never, limit 300 ms, ✗ FAILED: not in time ┃─▶ rear_white   Lamp"


@pytest.mark.parametrize(
    ("ms", "caused", "effected", "verdict"),
    [
        (-1, "no edge yet", "-", "○ not exercised"),
        (0, "at 01:40.000", "not come yet", "… waiting"),
        (100, "at 01:40.000", "not come yet", "… waiting"),
        (128, "at 01:40.000", "at 01:40.128", "… waiting"),
        (300, "at 01:40.000", "at 01:40.128", "✓ passed"),
    ],
    ids=["before it", "its beginning", "on the way", "held from then on", "decided"],
)
def test_an_occurrence_that_is_decided_later_is_under_way(ms: int, caused: str, effected: str, verdict: str) -> None:
    """As after a jump to its beginning: the whole recording knows of it."""
    one = ended(Outcome.PASSED, latency_ns=128 * MS)
    decided = ms >= 300
    box = closed(128) if decided else closed(cause_ns=None)
    shown = picture(*((one,) if decided else ()), after_ms=ms)
    (now,) = opened([box], picture(one).checks, shown.t_ns)
    says = passage(now, shown)
    assert (says.caused, says.effected, says.verdict) == (caused, effected, verdict)


def check(name: str, verdict: Verdict, outcome: Outcome | None, t_ns: int = CAUSE) -> CheckResult:
    ended_so = () if outcome is None else (Occurrence(t_ns, t_ns + MS, outcome),)
    return CheckResult(name, verdict, ended_so, "expect", "", 300 * MS)


CHECKS = (
    check("unused", Verdict.NOT_EXERCISED, None),
    check("old failure", Verdict.FAIL, Outcome.PASSED, CAUSE - 2 * S),
    check("failed", Verdict.FAIL, Outcome.FAILED, CAUSE - 3 * S),
    check("newest", Verdict.PASS, Outcome.ALREADY, CAUSE),
    check("passed", Verdict.PASS, Outcome.PASSED, CAUSE - S),
)
BOXES = [
    ClosedBox("a", c.occurrences[0].t_ns if c.occurrences else None, "b", None, c.name, c.limit_ns) for c in CHECKS
]
ORDER = ["failed", "old failure", "newest", "passed", "unused"]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        (None, ORDER),
        ("passed", ["passed", "failed", "old failure", "newest", "unused"]),
        ("of another signal", ORDER),
    ],
)
def test_what_failed_comes_first_then_the_newest_edge_unless_a_check_is_asked_for(
    asked: str | None, expected: list[str]
) -> None:
    shown = dataclasses.replace(fake_van.LIVE, checks=CHECKS)
    assert [box.check for box in in_order(BOXES, shown, asked)] == expected


def test_the_next_check_is_that_of_the_bench_file_round_the_end() -> None:
    shown = dataclasses.replace(fake_van.LIVE, checks=CHECKS)
    seen = [next_check(BOXES, shown, None)]
    for _ in CHECKS:
        seen.append(next_check(BOXES, shown, seen[-1]))
    assert seen == ["newest", "passed", "unused", "old failure", "failed", "newest"]
    assert next_check([], shown, None) is None


@pytest.mark.parametrize(
    ("outcome", "first", "effected", "delay", "verdict"),
    [
        (Outcome.FAILED, "Siren silent in park", "VIOLATED", "340 ms", "✗ FAILED"),
        (Outcome.PASSED, "Rear white lamp follows reverse", "obeyed", "-", "✓ passed"),
        (None, "Rear white lamp follows reverse", "-", "-", "○ not exercised"),
    ],
    ids=["violated", "obeyed", "not exercised"],
)
def test_checks_without_an_edge_are_drawn_where_they_fail_or_are_asked_for(
    outcome: Outcome | None, first: str, effected: str, delay: str, verdict: str
) -> None:
    gear, name = fake_van.PATHS["gear"], "Siren silent in park"
    length = 340 * MS if outcome is Outcome.FAILED else None
    ends = () if outcome is None else (Occurrence(CAUSE, CAUSE + S, outcome, length_ns=length),)
    siren = CheckResult(name, Verdict.PASS, ends, "never", "never siren and gear == 'P'", when="gear == 'P'")
    shown = dataclasses.replace(fake_van.LIVE, checks=(fake_van.CHECKS[0], siren))
    boxes = (*gear.boxes, *standing(gear, shown))
    assert [box.check for box in boxes] == ["Rear white lamp follows reverse", name]
    assert [is_standing(box, shown) for box in boxes] == [False, True]
    assert in_order(boxes, shown)[0].check == first
    says = passage(in_order(boxes, shown, name)[0], shown)
    assert (says.cause, says.effect) == ("gear == 'P'", "never siren and gear == 'P'")
    assert (says.effected, says.delay, says.verdict) == (effected, delay, verdict)


LONG_NAME = "Front white stops flashing in park at night"
LONG_BOX = ClosedBox("beacon_switch and gear == 'P'", CAUSE, "steady_off(front_white)", None, LONG_NAME, 300 * MS)


@pytest.mark.parametrize(
    ("width", "room", "lines", "whole"),
    [
        (118, 0, 5, False),
        (118, 6, 6, True),
        (118, 20, 6, True),
        (79, 0, 5, False),
        (79, 20, 7, True),
    ],
    ids=["no line free", "one free", "many free", "narrow, none free", "narrow, many free"],
)
def test_texts_of_the_boxes_go_on_in_the_next_line_where_one_is_free(
    width: int, room: int, lines: int, whole: bool
) -> None:
    drawing = drawn(passage(LONG_BOX, picture()), LONG_NAME, width, room=room)
    title = plain(drawing[0]).partition("controller: ")[2].partition("━")[0].partition("┓")[0]
    inside = [title, *("".join(plain(line).split("┃")[1:2]).strip() for line in drawing[1:])]
    assert len(drawing) == lines
    assert (LONG_NAME in " ".join(" ".join(inside).split())) == whole
    left = " ".join(plain(line).split("│")[1].strip() for line in drawing[1:-1])
    assert "beacon_switch and gear == 'P'" in " ".join(left.split()) or not whole
