"""Checks, occurrences, the latency plot and the trigger log as values."""

from __future__ import annotations

import dataclasses

import pytest
from fake_van import CHECKS, MS, START, TRIGGERS, at

from busprobe.results import CheckResult, LogLine, Occurrence, Outcome, TriggerEntry, Verdict
from busprobe.tui.view.latency import about_lines, axis_signs, plot_lines
from busprobe.tui.view.logic import (
    CHECK_COLUMNS,
    OCCURRENCE_COLUMNS,
    LogicRows,
    check_row,
    checks_title,
    instant_of,
    occurrence_row,
    occurrence_text,
    trigger_row,
    triggers_title,
)
from busprobe.tui.view.spans import Row, Tone, fit, plain, share

REVERSE, DARK, STRIP, BEACONS, SIREN, ALERT, FEED = CHECKS


def texts(row: Row) -> list[str]:
    return [plain(cell) for cell in row.cells]


ROWS = [
    (REVERSE, ["✓ pass", "Rear white lamp follows reverse", "3", "·", "·", "·", "·", "! 296 ms of 300 ms"]),
    (DARK, ["✓ pass", "Rear white lamp dark outside reverse", "1", "·", "·", "·", "·", "–"]),
    (BEACONS, ["✗ FAIL", "Beacons flash in step", "1", "1", "·", "·", "·", "–"]),
    (SIREN, ["– not exercised", "Siren silent in park", "·", "·", "·", "·", "·", "–"]),
    (ALERT, ["? undecided", "Door alert follows a door open on the move", "1", "·", "1", "·", "·", "204 ms of 400 ms"]),
    (FEED, ["– not exercised", "Auxiliary feed shed after key-off", "·", "·", "·", "·", "1", "22.0 s"]),
]


@pytest.mark.parametrize(("check", "expected"), ROWS, ids=[row[0].name for row in ROWS])
def test_check_row(check: CheckResult, expected: list[str]) -> None:
    assert texts(check_row(check)) == expected


def test_a_check_is_copied_with_its_counts_and_what_it_expects() -> None:
    assert check_row(REVERSE).copy == (
        "Rear white lamp follows reverse\tpass\t3 passed\trear_white within 300 ms of gear == 'R'"
    )


def test_rows_of_unchanged_results_are_the_same_objects() -> None:
    kept = LogicRows()
    first = kept.checks(CHECKS, "")
    again = kept.checks(CHECKS, "")
    assert all(a is b for a, b in zip(first, again, strict=True))
    assert kept.occurrences(REVERSE, START) is kept.occurrences(REVERSE, START)
    assert kept.triggers(TRIGGERS, "", START) is kept.triggers(TRIGGERS, "", START)
    changed = dataclasses.replace(REVERSE, verdict=Verdict.FAIL)
    assert texts(kept.checks([changed], "")[0])[0] == "✗ FAIL"


def test_a_bus_that_slept_has_its_lines_in_the_log() -> None:
    asleep = LogLine(START + 4_000 * MS, START + 2_000 * MS, -1, "asleep", "body", "nothing heard on body since")
    awake = LogLine(START + 9_000 * MS, START + 9_000 * MS, -1, "awake", "body", "first frame after it: 1B4")
    entries = [TRIGGERS[0], asleep, awake]
    assert texts(trigger_row(asleep, START)) == ["00:02.000", "z body asleep", "nothing heard on body since"]
    assert texts(trigger_row(awake, START)) == ["00:09.000", "● body awake", "first frame after it: 1B4"]
    assert trigger_row(asleep, START).copy == "00:02.000\tbody asleep\tnothing heard on body since"
    assert [texts(row)[1] for row in LogicRows().triggers(entries, "asleep", START)] == ["z body asleep"]
    assert [texts(row)[1] for row in LogicRows().triggers(entries, "1B4", START)] == ["● body awake"]


def test_the_filter_takes_names_and_verdicts() -> None:
    assert [row.key for row in LogicRows().checks(CHECKS, "undecided")] == [ALERT.name]
    assert [row.key for row in LogicRows().checks(CHECKS, "rear white")] == [REVERSE.name, DARK.name]


OCCURRENCES = [
    (REVERSE, 0, ["00:41.000", "✓ passed", "112 ms ± 5.0 ms", "188 ms", "–", ""]),
    (REVERSE, 2, ["03:18.200", "✓ passed", "296 ms ± 5.0 ms", "4.0 ms", "–", "tight"]),
    (STRIP, 1, ["01:28.000", "✓ off passed", "95 ms ± 5.0 ms", "105 ms", "–", ""]),
    (BEACONS, 1, ["02:22.100", "✗ FAILED", "–", "–", "340 ms", "out of step"]),
    (ALERT, 1, ["02:00.000", "? off undecided", "–", "–", "–", "speed unknown"]),
    (FEED, 0, ["00:02.000", "/ cut short", "–", "–", "–", "data ended"]),
]


@pytest.mark.parametrize(("check", "place", "expected"), OCCURRENCES)
def test_occurrence_row(check: CheckResult, place: int, expected: list[str]) -> None:
    assert texts(occurrence_row(check, check.occurrences[place], START)) == expected


def test_an_occurrence_in_a_sentence_with_what_the_signals_said() -> None:
    assert occurrence_text(BEACONS.occurrences[1], START) == (
        "02:22.100: failed, lasted 340 ms, out of step; at 02:22.100 beacon_left on, beacon_right off"
    )
    assert occurrence_text(REVERSE.occurrences[2], START) == "03:18.200: passed, after 296 ms ± 5.0 ms (tight)"


def test_a_failure_is_looked_at_where_it_was_decided() -> None:
    late = Occurrence(at(10), at(10.3), Outcome.FAILED, at_ns=at(10.3))
    assert instant_of(late) == at(10.3)
    assert instant_of(REVERSE.occurrences[0]) == at(41)


def occurrence(latency_ms: float | None, outcome: Outcome = Outcome.PASSED, *, tight: bool = False) -> Occurrence:
    latency = None if latency_ms is None else round(latency_ms * MS)
    return Occurrence(at(1), at(2), outcome, "", latency, 0, tight)


def came(after_ns: int | None) -> Occurrence:
    """A failure that was followed: it came after this, or never."""
    return dataclasses.replace(occurrence(None, FAILED), came_after_ns=after_ns, never_came=after_ns is None)


@pytest.mark.parametrize(
    ("after_ns", "expected", "text"),
    [
        (428_600_000, ["428.6 ms", "-129 ms", "–", "came after 428.6 ms, not in time"], "came after 428.6 ms"),
        (None, ["never", "–", "–", "never came while it lasted, not in time"], "never came while it lasted"),
    ],
    ids=["came late", "never"],
)
def test_what_came_of_a_failure(after_ns: int | None, expected: list[str], text: str) -> None:
    """First what came: the end of a long reason is cut."""
    one = dataclasses.replace(came(after_ns), note="not in time")
    check = CheckResult("x", Verdict.FAIL, (one,), "expect", "", 300 * MS)
    assert texts(occurrence_row(check, one, START))[1:] == ["✗ FAILED", *expected]
    assert occurrence_text(one, START) == f"00:01.000: failed, not in time, {text}"


@pytest.mark.parametrize(
    ("after_ns", "uncertainty_ns", "latency", "why"),
    [
        (310 * MS, 15 * MS, "310 ms ± 15 ms", "tight, came after 310 ms ± 15 ms, not in time"),
        (310_600_000, 5 * MS, "310.6 ms ± 5.0 ms", "tight, came after 310.6 ms ± 5.0 ms, not in time"),
        (310_614_000, 15 * MS, "311 ms ± 15 ms", "tight, came after 310.614 ms ± 15 ms, not in time"),
        (310 * MS, 2000, "310 ms", "tight, came after 310 ms, not in time"),
        (90_000 * MS, 15 * MS, "1 min 30 s", "tight, came after 90 s ± 15 ms, not in time"),
    ],
    ids=["in ms", "of a ms", "no room for all digits", "nothing to speak of", "minutes"],
)  # fmt: skip
def test_how_exactly_a_failure_is_known(after_ns: int, uncertainty_ns: int, latency: str, why: str) -> None:
    one = dataclasses.replace(came(after_ns), note="not in time", uncertainty_ns=uncertainty_ns, tight=True)
    shown = texts(occurrence_row(CheckResult("x", Verdict.FAIL, (one,), "expect", "", 300 * MS), one, START))
    assert (shown[2], shown[5]) == (latency, why)
    said = why.removeprefix("tight, ").removesuffix(", not in time")
    assert occurrence_text(one, START) == f"00:01.000: failed, not in time, {said} (tight)"


def test_an_early_failure_may_be_in_doubt() -> None:
    one = Occurrence(at(1), at(1.1), Outcome.FAILED, uncertainty_ns=10 * MS, tight=True, at_ns=at(1.1), note="early")
    assert texts(occurrence_row(REVERSE, one, START))[2:] == ["–", "–", "–", "tight, early"]
    assert occurrence_text(one, START) == "00:01.000: failed, early (tight)"


FAILED, CUT, ALREADY = Outcome.FAILED, Outcome.CUT, Outcome.ALREADY
AXES = [
    ("empty", [], "────────┃┄┄"),
    ("one", [occurrence(100)], "────•───┃┄┄"),
    ("several in a column", [occurrence(100), occurrence(101)], "────●───┃┄┄"),
    ("at zero and at the limit", [occurrence(0), occurrence(200)], "•───────•┄┄"),
    ("tight wins over passed", [occurrence(190), occurrence(191, tight=True)], "───────!┃┄┄"),
    ("failed late", [occurrence(230, FAILED)], "────────┃✗┄"),
    ("failed, not followed", [occurrence(None, FAILED)], "────────┃┄✗"),
    ("failed, came too late", [came(225 * MS), occurrence(100)], "────•───┃✗┄"),
    ("failed, came at the limit", [came(201 * MS)], "────────✗┄┄"),
    ("failed, came past the end of the line", [came(430 * MS)], "────────┃┄✗"),
    ("failed, never came", [came(None)], "────────┃┄✗"),
    ("longer than the line", [occurrence(900, FAILED)], "────────┃┄✗"),
    ("no latency, no mark", [occurrence(None, CUT), occurrence(None, ALREADY), occurrence(None)], "────────┃┄┄"),
]


@pytest.mark.parametrize(("occurrences", "drawn"), [row[1:] for row in AXES], ids=[row[0] for row in AXES])
def test_axis(occurrences: list[Occurrence], drawn: str) -> None:
    """200 ms of 250 ms on 11 columns."""
    assert axis_signs(occurrences, 200 * MS, 250 * MS, 11) == drawn


def test_each_part_has_its_own_line_and_limit() -> None:
    on, off = (dataclasses.replace(occurrence(100), part=part) for part in ("on", "off"))
    off = dataclasses.replace(off, limit_ns=400 * MS)
    check = CheckResult("x", Verdict.PASS, (on, off), "follows", "", 200 * MS)
    assert [plain(line).rstrip() for line in plot_lines(check, 40)] == [
        " on  0├────────•────────┃┄┄┄┄┄┤ 250 ms",
        " off 0├────•────────────┃┄┄┄┄┄┤ 500 ms",
    ]
    turned = dataclasses.replace(check, occurrences=(off, on))
    assert plot_lines(turned, 40) == plot_lines(check, 40)


def test_a_wide_plot_has_words() -> None:
    (line,) = plot_lines(REVERSE, 80)
    assert plain(line) == "     0├──────••──────────!┃┄┄┄┄┄┤ 375 ms    worst ! 296 ms of 300 ms            "


WORST = [
    ("nothing measured", [occurrence(None, CUT)], "200 ms", Tone.DIM),
    ("passed", [occurrence(100), occurrence(150)], "150 ms of 200 ms", Tone.PLAIN),
    ("tight", [occurrence(100), occurrence(195, tight=True)], "! 195 ms of 200 ms", Tone.WARN),
    ("late", [occurrence(100), came(428_600_000), came(300 * MS)], "✗ 429 ms of 200 ms", Tone.BAD),
    ("never", [occurrence(100), came(None), came(300 * MS)], "✗ never of 200 ms", Tone.BAD),
    ("only never", [came(None)], "✗ never of 200 ms", Tone.BAD),
    ("failed, not seen to come", [occurrence(100), occurrence(None, FAILED)], "100 ms of 200 ms", Tone.PLAIN),
]


@pytest.mark.parametrize(("occurrences", "told", "tone"), [row[1:] for row in WORST], ids=[row[0] for row in WORST])
def test_the_worst_is_of_all_that_came_late_ones_too(occurrences: list[Occurrence], told: str, tone: Tone) -> None:
    check = CheckResult("x", Verdict.FAIL, tuple(occurrences), "expect", "", 200 * MS)
    place = [column.title for column in CHECK_COLUMNS].index("Worst, late too")
    (span,) = check_row(check).cells[place]
    assert (span.text, span.tone) == (told, tone)
    if " of " in told:
        assert f"  worst {told}" in plain(plot_lines(check, 100)[0])


@pytest.mark.parametrize(
    ("on", "off", "told"),
    [
        (occurrence(100), came(None), "✗ never of 500 ms"),
        (came(None), occurrence(450), "✗ never of 200 ms"),
        (came(250 * MS), occurrence(450), "✗ 250 ms of 200 ms"),
        (came(250 * MS), came(510 * MS), "✗ 510 ms of 500 ms"),
        (occurrence(150), occurrence(450), "450 ms of 500 ms"),
        (occurrence(None, CUT), occurrence(450), "450 ms of 500 ms"),
    ],
    ids=["off never came", "on never came", "on late, off longer", "both late", "both in time", "one measured"],
)
def test_the_worst_of_two_halves_is_told_with_the_limit_of_its_half(on: Occurrence, off: Occurrence, told: str) -> None:
    halves = (dataclasses.replace(on, part="on"), dataclasses.replace(off, part="off", limit_ns=500 * MS))
    for ones in (halves, halves[::-1]):
        assert texts(check_row(CheckResult("x", Verdict.FAIL, ones, "follows", "", 200 * MS)))[-1] == told


def test_a_worst_that_is_too_wide_for_its_column_leaves_the_limit_out() -> None:
    long = dataclasses.replace(occurrence(None), latency_ns=1770 * 1000 * MS)
    check = CheckResult("x", Verdict.PASS, (long,), "expect", "", 1860 * 1000 * MS)
    assert texts(check_row(check))[-1] == "29 min 30 s"
    assert "  worst 29 min 30 s of 31 min 00 s" in plain(plot_lines(check, 100)[0])


def test_a_check_without_latency_says_so() -> None:
    assert plain(plot_lines(SIREN, 80)[0]) == (
        " A check of this kind has no latency; how long it was broken stands below."
    )


def test_about_a_check() -> None:
    lines = [plain(line).rstrip() for line in about_lines(BEACONS, BEACONS.occurrences[1], START, 60)]
    assert lines[0] == " Expected: always in_step(beacon_left, beacon_right, '30"
    assert lines[-2] == " ▶ 02:22.100: failed, lasted 340 ms, out of step; at"
    assert about_lines(None, None, START, 60)[0][0].text == " The bench file has no check, or none has these words."


def test_trigger_rows() -> None:
    row = trigger_row(TRIGGERS[5], START)
    assert texts(row) == ["03:19.100", "◆ Rear door opens while moving", "rear_door on, moving on, speed 12.4 km/h"]
    assert row.copy == "03:19.100\tRear door opens while moving\trear_door on, moving on, speed 12.4 km/h"
    press = TriggerEntry("Marker", at(9.0), at(9.0), {"button": "on"}, is_marker=True)
    assert [plain(trigger_row(e, START).cells[1])[0] for e in (TRIGGERS[5], press)] == ["◆", "▾"]
    assert [r.key for r in LogicRows().triggers(TRIGGERS, "siren", START)] == [f"{at(131.2)} Siren sounds"]


def test_titles() -> None:
    assert checks_title(is_whole=True, here_ns=0) == "Checks, whole recording"
    assert checks_title(is_whole=False, here_ns=200_000 * MS) == "Checks, up to 03:20.0"
    assert triggers_title(6, 6) == "Trigger log, 6"
    assert triggers_title(1, 6) == "Trigger log, 1 of 6"


def test_a_verdict_is_told_by_a_sign_and_a_word() -> None:
    spans = [check_row(dataclasses.replace(SIREN, verdict=verdict)).cells[0][0] for verdict in Verdict]
    assert len({span.text for span in spans}) == len({span.text[0] for span in spans}) == len(Verdict)
    assert [span.tone for span in spans] == [Tone.GOOD, Tone.BAD, Tone.WARN, Tone.DIM]


@pytest.mark.parametrize("width", [78, 118])
@pytest.mark.parametrize(
    ("latency_ns", "uncertainty_ns", "said"),
    [
        (189 * MS, 10 * MS - 1, "189 ms ± 10.0 ms"),
        (999 * MS, 120 * MS, "999 ms ± 120 ms"),
        (59_900 * MS, 10 * MS - 1, "59.9 s ± 10.0 ms"),
        (1770 * 1000 * MS, 10 * MS, "29 min 30 s"),
    ],
)
def test_a_latency_is_never_cut_before_its_unit(latency_ns: int, uncertainty_ns: int, said: str, width: int) -> None:
    one = dataclasses.replace(REVERSE.occurrences[0], latency_ns=latency_ns, uncertainty_ns=uncertainty_ns)
    place = [column.title for column in OCCURRENCE_COLUMNS].index("Latency")
    room = dict(share(OCCURRENCE_COLUMNS, width))[place]
    assert plain(fit(occurrence_row(REVERSE, one, START).cells[place], room, "right")).strip() == said
    assert len(share(OCCURRENCE_COLUMNS, width)) == len(OCCURRENCE_COLUMNS), "no column goes for it"
