"""Drives with real frames and polls that must come out right, each whole and in pieces.

The rules are the project's own; DEVELOPERS.md states them in words.
"""

from __future__ import annotations

import numpy as np
import pytest
from drive import (
    brake,
    check,
    chunks,
    evaluate,
    frames,
    gear,
    in_order,
    kmh,
    ns,
    pid_0d,
    plan,
    polls,
    run,
    told,
    trigger,
    triggered,
)  # fmt: skip

from busprobe.frames import InputBatch
from busprobe.results import Outcome

REVERSE = check('when = "gear == \'R\'"\nexpect = "lamp"\nwithin = "300 ms"')


def test_three_full_reverses_pass_and_one_is_cut_short() -> None:
    """P to R (150 ms) to N to D, then three full reverses: "3 passed, 1 cut short"."""
    drive = gear("0 P, 1000 R, 1150 N, 1400 D, 3000 R, 5000 D, 7000 R, 9000 D, 11000 R, 13000 P", 14000)
    lamp = polls("0 F, 3200 T, 5200 F, 7180 T, 9150 F, 11220 T, 13100 F", 14000)
    result = evaluate(REVERSE, 14000, frames(drive), lamp).checks[0]
    assert told(result) == [
        "1000 cut short @1150", "3000 passed +200 @3200", "7000 passed +180 @7180", "11000 passed +220 @11220",
    ]  # fmt: skip
    assert result.verdict.value == "pass"
    assert (result.count(Outcome.PASSED), result.count(Outcome.CUT)) == (3, 1)


def test_a_lamp_that_is_always_on_never_passes() -> None:
    drive = gear("0 P, 1000 R, 3000 D, 5000 R, 7000 D", 9000)
    result = evaluate(REVERSE, 9000, frames(drive), polls("0 T", 9000)).checks[0]
    assert told(result) == ["1000 already so @1000", "5000 already so @5000"]
    assert result.verdict.value == "not exercised"


def test_what_no_signal_decides_holds_from_the_first_record_on() -> None:
    """The whole is the recording: from its first record, here at 500 ms, to its end."""
    rest = check('never = "brake and False"') + check('never = "brake or True"\nsettle = "100 ms"', "d")
    first, second = evaluate(
        rest, 3000, frames([(500, 272, "00"), (900, 272, "00")]), polls("0 F", 3000, without=(0, 700))
    ).checks
    assert told(first) == ["500 passed for 2500 @3000"]
    assert told(second) == ["500 failed for 2500 @600"]


def test_a_tap_of_100_ms_on_an_event_check_is_not_cut_short() -> None:
    tap = check('when = "rises(brake)"\nexpect = "lamp"\nwithin = "300 ms"')
    drive = brake("0 0, 1000 1, 1100 0", 3000)
    result = evaluate(tap, 3000, frames(drive), polls("0 F, 1200 T", 3000)).checks[0]
    assert told(result) == ["1000 passed +200 @1200"]


@pytest.mark.parametrize(
    ("limit", "first"),
    [("5 mph", 9), ("8 km/h", 9), ("8.9 km/h", 9), ("4.97 mph", 8), ("2.3 m/s", 9)],
    ids=str,
)
def test_a_limit_in_mph_first_holds_at_9_kmh_of_the_whole_kmh_answer(limit: str, first: int) -> None:
    """PID 0D counts whole km/h (SAE J1979); 5 mph are 8.04672 km/h, the international mile being 1609.344 m."""
    answers = pid_0d([(500 + 500 * i, speed) for i, speed in enumerate([6, 7, 8, 9, 10, 9, 8, 7])])
    results = evaluate(trigger(f"rises(obd_speed > '{limit}')"), 5000, frames(answers))
    assert triggered(results) == [f"{500 + 500 * (first - 6)} t"]
    assert results.triggers[0].signals == {"obd_speed": f"{first} km/h"}


def test_an_answer_of_several_frames_counts_at_its_last() -> None:
    """Engine speed, road speed and module voltage in one answer of two frames (ISO 15765-2)."""
    answer = [(1000, 0x7E8, "1009410C1AF80D09"), (1025, 0x7E8, "2142303900000000")]
    results = evaluate(trigger("rises(obd_speed > '5 km/h')"), 1200, frames([*pid_0d([(400, 5)]), *answer]))
    assert triggered(results) == ["1025 t"]


@pytest.mark.parametrize("raw", ["2", "3"])
def test_a_two_bit_switch_beyond_1_is_unknown(raw: str) -> None:
    """A 2-bit switch: 0 off, 1 on, 2 error, 3 not available (SAE J1939-71, from memory)."""
    rest = check('never = "brake"') + trigger("rises(brake)") + trigger("brake", "bare")
    results = evaluate(rest, 3000, frames(brake(f"0 0, 1000 {raw}, 1500 0, 2000 {raw}, 2500 1", 3000)))
    assert told(results.checks[0]) == [
        "1000 undecided for 500 @1000", "2000 undecided for 500 @2000", "2500 failed for 500 @2500",
    ]  # fmt: skip
    assert triggered(results) == []


def test_on_and_off_of_a_two_bit_switch_are_known() -> None:
    results = evaluate(
        trigger("rises(brake)"), 3000, frames(brake("0 0, 1000 1, 1500 0, 2000 3, 2500 0, 2700 1", 3000))
    )
    assert triggered(results) == ["1000 t", "2700 t"]


@pytest.mark.parametrize("raw", [2, 3])
def test_a_two_bit_switch_of_which_only_3_is_named_not_available(raw: int) -> None:
    """The database names 3 "Not available" and says nothing of 2: that is no "on" either."""
    rows = [(t, 272, f"{(0 if t < 1000 else raw) << 2:02X}") for t in range(0, 2000, 100)]
    results = evaluate(check('never = "park_brake"'), 1950, frames(rows))
    assert told(results.checks[0]) == ["1000 undecided for 950 @1000"]


def test_exactly_300_ms_passes_and_is_tight() -> None:
    """The lamp is polled every 10 ms, so it may have come on up to 10 ms earlier: the margin is smaller."""
    drive = gear("0 P, 1000 R", 3000)
    result = evaluate(REVERSE, 3000, frames(drive), polls("0 F, 1300 T", 3000)).checks[0]
    assert told(result) == ["1000 passed +300 @1300 tight"]
    assert result.occurrences[0].uncertainty_ns == ns(10)


def test_1_ns_more_fails() -> None:
    drive = gear("0 P, 1000 R", 3000)
    lamp = polls("0 F, 1300.000001 T", 3000, extra=[1300.000001])
    result = evaluate(REVERSE, 3000, frames(drive), lamp).checks[0]
    assert told(result) == ["1000 failed @1300"]
    assert result.occurrences[0].signals == {"gear": "R", "lamp": "off"}


@pytest.mark.parametrize(("comes_on", "tight"), [(1280, True), (1290, False)], ids=["margin 20", "margin 10"])
def test_tight_is_a_margin_below_both_uncertainties(comes_on: int, tight: bool) -> None:
    """Stamps of the bus are good to 5 ms, polls to 10 ms: together 15 ms."""
    drive = gear("0 P, 1000 R", 3000)
    within = REVERSE.replace("300", str(comes_on - 1000 + (10 if tight else 20)))
    lamp = polls(f"0 F, {comes_on} T", 3000)
    result = evaluate(within, 3000, frames(drive), lamp, uncertainty_ns=ns(5)).checks[0]
    assert result.occurrences[0].uncertainty_ns == ns(15)
    assert result.occurrences[0].tight is tight


@pytest.mark.parametrize(("comes_on", "tight"), [(1310, True), (1320, False)], ids=["10 over", "20 over"])
def test_a_failure_within_both_uncertainties_is_tight(comes_on: int, tight: bool) -> None:
    """Stamps of the bus are good to 5 ms, polls to 10 ms: what came after 310 ms may have come after 295 ms."""
    drive, lamp = frames(gear("0 P, 1000 R", 3000)), polls(f"0 F, {comes_on} T", 3000)
    result = evaluate(REVERSE, 3000, drive, lamp, uncertainty_ns=ns(5)).checks[0]
    assert told(result) == ["1000 failed @1300" + tight * " tight"]
    one = result.occurrences[0]
    assert (one.came_after_ns, one.uncertainty_ns) == (ns(comes_on - 1000), ns(15))


@pytest.mark.parametrize(("limit", "tight"), [(215, False), (214, True)])
def test_two_lines_of_one_box(limit: int, tight: bool) -> None:
    """Polls 10 ms apart, stamps good to 5 ms: together 15 ms, as the error of its clock is that of both edges."""
    rest = check(f'when = "lamp"\nexpect = "switch"\nwithin = "{limit} ms"')
    lines = polls("0 F, 1000 T", 3000, switch="0 F, 1200 T")
    result = evaluate(rest, 3000, lines, uncertainty_ns={"box": ns(5)}).checks[0]
    assert [(o.latency_ns, o.uncertainty_ns, o.tight) for o in result.occurrences] == [(ns(200), ns(15), tight)]


def test_a_signal_lost_for_3_s_is_undecided_not_failed() -> None:
    """The brake message stops for 3 s while the rest of the bus goes on."""
    rest = check('when = "gear == \'R\'"\nexpect = "brake"\nwithin = "500 ms"') + check('always = "known(brake)"', "k")
    drive = in_order(gear("0 P, 1000 R", 6000), brake("0 0, 1001 -, 4000 1", 6000))
    results = evaluate(rest, 6000, frames(drive))
    assert told(results.checks[0]) == ["1000 undecided @1500"]
    assert results.checks[0].verdict.value == "undecided"
    assert results.checks[0].occurrences[0].signals == {"gear": "R", "brake": "unknown (lost)"}
    # 3 x 100 ms after its last frame at 1000 ms, told by the bus's next frame.
    assert told(results.checks[1]) == ["1300.000001 failed for 2699.999999 @1400"]


def test_chattering_is_undecided() -> None:
    """A door switch that chatters for a second is neither open nor shut."""
    chatter = ", ".join(f"{1000 + 10 * i} {'TF'[i % 2]}" for i in range(100))
    rest = check('never = "switch"') + trigger("rises(switch)")
    results = evaluate(rest, 4000, polls("", 4000, switch=f"0 F, {chatter}"))
    # Unknown from 10 x 40 ms on until the last transition at 1990 ms.
    assert told(results.checks[0]) == ["1400 undecided for 590 @1410"]
    assert results.checks[0].occurrences[0].signals == {"switch": "unknown (chattering)"}
    assert triggered(results) == []


def test_a_debounced_edge_is_told_late_and_counts_from_its_first_transition() -> None:
    rest = check('when = "switch"\nexpect = "lamp"\nwithin = "300 ms"') + trigger("rises(switch)")
    box = polls("0 F, 1200 T", 3000, switch="0 F, 1000 T, 1010 F, 1030 T, 2000 F, 2010 T")
    results = evaluate(rest, 3000, box)
    assert told(results.checks[0]) == ["1000 passed +200 @1200"]
    assert triggered(results) == ["1000 t @1070"]
    assert results.checks[0].glitches == 1


def test_an_analogue_line_has_hysteresis() -> None:
    rest = trigger("changes(feed)")
    box = polls("", 5000, feed={0: 7000, 500: 5999, 1000: 9000, 1500: 9001, 2000: 6000, 2500: 8999, 3000: 5999})
    assert triggered(evaluate(rest, 5000, box)) == ["1500 t", "3000 t"]


def test_a_voltage_is_a_quantity() -> None:
    rest = check("always = \"battery > '12.5 V'\"")
    assert told(evaluate(rest, 1000, polls("", 1000, battery=12_600)).checks[0]) == ["0 passed for 1000 @1000"]
    results = evaluate(rest, 1000, polls("", 1000, battery=12_500))
    assert told(results.checks[0]) == ["0 failed for 1000 @0"]
    assert results.checks[0].occurrences[0].signals == {"battery": "12.500 V"}


def test_polls_of_one_time_are_one_instant() -> None:
    """What came last of one time holds there: no edge, though the first of the two polls was on."""
    box = polls("0 F", 1000)
    twice = InputBatch(
        "box",
        np.insert(box.t_ns, 50, box.t_ns[50]),
        np.insert(box.mask, 50, box.mask[50] | np.uint64(1)),
        np.insert(box.analogue, 50, box.analogue[50], axis=0) if box.analogue is not None else None,
    )
    assert triggered(evaluate(trigger("changes(lamp)"), 1000, twice)) == []


def test_samples_of_one_time_are_one_instant() -> None:
    rows = [*gear("0 P", 1000), (1000, 256, "0100"), (1000, 256, "0000"), *gear("0 P", 2000)[11:]]
    assert triggered(evaluate(trigger("changes(gear)"), 2000, frames(rows))) == []


def test_steady_speed_needs_no_news() -> None:
    """A value that does not change is known as long as its frames come."""
    rest = check("always = \"speed > '10 km/h'\"")
    assert told(evaluate(rest, 3000, frames(kmh("0 30", 3001))).checks[0]) == ["0 passed for 3000 @3000"]


def test_a_break_keeps_its_uncertainty_while_it_goes_on() -> None:
    """The lamp goes off at 1970 ms; stamps are good to 100 ms and polls to 10 ms: told 110 ms later, however cut."""
    rest = REVERSE + 'hold = "while when"\n'
    drive, lamp = frames(gear("0 P, 1000 R", 3000)), polls("0 F, 1200 T, 1970 F, 2500 T", 3000)
    pieces = {"frames": chunks(drive, 1, ns(3000)), "box": chunks(lamp, 1, ns(3000))}
    in_time = sorted((b.complete_to_ns or 0, name, k, b) for name, bs in pieces.items() for k, b in enumerate(bs))
    results = run(plan(rest), [(name, b) for _, name, _, b in in_time], advance_every=1, uncertainty_ns=ns(100))
    assert told(results.checks[0]) == ["1000 failed +200 @2080"]
    assert results == evaluate(rest, 3000, drive, lamp, uncertainty_ns=ns(100))
