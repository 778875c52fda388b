"""The controller as a closed box: what each outcome says, and how the boxes are drawn."""

from __future__ import annotations

import dataclasses

import fake_van
import pytest

from busprobe.results import CheckResult, Occurrence, Outcome, Verdict
from busprobe.session.snapshot import ClosedBox, Snapshot
from busprobe.tui.view.closed_box import bar, drawn, in_one_line, newest, passage
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
    assert (says.caused, says.effected, says.delay, says.verdict) == (caused, effected, delay, verdict)
    assert says.share == (None if share is None else pytest.approx(share))


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


@pytest.mark.parametrize("large", [False, True], ids=["plain", "large"])
@pytest.mark.parametrize("width", [66, 80, 120])
def test_every_line_fills_its_width(width: int, large: bool) -> None:
    says = passage(closed(128), picture(ended(Outcome.PASSED, latency_ns=128 * MS)))
    lines = drawn(says, "Lamp", width, large=large)
    assert len(lines) == (9 if large else 5)
    assert len({width_of(line) for line in lines}) == 1
    assert width - 1 <= width_of(lines[0]) <= width


def test_one_line_where_boxes_do_not_fit() -> None:
    says = passage(closed(128), picture(ended(Outcome.PASSED, latency_ns=128 * MS)))
    line = plain(in_one_line(says, "Lamp", 90)).rstrip()
    assert line == "gear == 'R' ─▶ ┃ 128 ms, limit 300 ms, ✓ passed ┃─▶ rear_white   Lamp"


def test_the_newest_edge_comes_first_and_no_edge_last() -> None:
    boxes = [closed(cause_ns=None), closed(cause_ns=CAUSE), closed(cause_ns=CAUSE + S)]
    assert [box.cause_ns for box in newest(boxes)] == [CAUSE + S, CAUSE, None]
