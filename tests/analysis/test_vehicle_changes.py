"""A vehicle before and after an installation."""

import dataclasses

import pytest

from busprobe.analysis.vehicle import Readiness, UnitRead, VehicleRead, VehicleTally
from busprobe.analysis.vehicle_changes import Sameness, Volts, compare

VIN, OTHER_VIN = "A0TPV3D23TK000012", "1M8GDM9AXKP042788"
READY = Readiness(False, 0, ("misfire", "catalyst", "O2 heater"), ("O2 heater",), "spark")
NONE = {"stored": (), "pending": (), "permanent": ()}
UNIT = UnitRead("7E8", "ECM", VIN, "", ("01", "0C", "42"), NONE, READY, 12.6, 0.0)


def read(*units):
    return VehicleRead("body", 0, units)


def changed(**what):
    return dataclasses.replace(UNIT, **what)


def found(before, now):
    result = compare(read(before), read(now))
    return [(c.what, c.before, c.now, c.weight.value) for c in result.changes], result.exit_status


# Before, now, the changes, exit status.
CASES = {
    "nothing": (UNIT, UNIT, [], 0),
    "new stored code": (
        UNIT, changed(codes={**NONE, "stored": ("U0100",)}),
        [("stored code U0100", "not there", "there", "worse")], 1,
    ),
    "new pending code beside an old one": (
        changed(codes={**NONE, "pending": ("P0301",)}), changed(codes={**NONE, "pending": ("P0301", "P0420")}),
        [("pending code P0420", "not there", "there", "worse")], 1,
    ),
    "code gone": (
        changed(codes={**NONE, "permanent": ("P0420",)}), UNIT,
        [("permanent code P0420", "there", "not there", "better")], 0,
    ),
    "one gone, one new": (
        changed(codes={**NONE, "stored": ("P0420",)}), changed(codes={**NONE, "stored": ("P0301",)}),
        [("stored code P0301", "not there", "there", "worse"),
         ("stored code P0420", "there", "not there", "better")], 1,
    ),
    "lamp on": (
        UNIT, changed(readiness=dataclasses.replace(READY, lamp_on=True)),
        [("malfunction lamp", "off", "on", "worse")], 1,
    ),
    "lamp off": (
        changed(readiness=dataclasses.replace(READY, lamp_on=True)), UNIT,
        [("malfunction lamp", "on", "off", "better")], 0,
    ),
    "readiness reset": (
        UNIT, changed(readiness=dataclasses.replace(READY, not_complete=READY.supported)),
        [("readiness: misfire", "complete", "not complete", "worse"),
         ("readiness: catalyst", "complete", "not complete", "worse")], 1,
    ),
    "readiness complete": (
        UNIT, changed(readiness=dataclasses.replace(READY, not_complete=())),
        [("readiness: O2 heater", "not complete", "complete", "better")], 0,
    ),
    "codes not told now": (
        changed(codes={**NONE, "stored": ("P0420", "P0301")}), changed(codes={"pending": (), "permanent": ()}),
        [("stored codes", "P0420, P0301", "no answer", "cannot be compared")], 2,
    ),
    "codes not told before": (
        changed(codes={"stored": (), "pending": ()}), changed(codes={**NONE, "permanent": ("P0420",)}),
        [("permanent codes", "no answer", "P0420", "cannot be compared")], 2,
    ),
    "no codes not told before": (
        changed(codes={"stored": (), "pending": ()}), UNIT,
        [("permanent codes", "no answer", "none", "cannot be compared")], 2,
    ),
    "codes told neither time": (changed(codes={"stored": ()}), changed(codes={"stored": ()}), [], 0),
    "readiness not told now": (
        UNIT, changed(readiness=None),
        [("readiness", "2 of 3 complete", "no answer", "cannot be compared")], 2,
    ),
    "readiness not told before": (
        changed(readiness=None), UNIT, [("readiness", "no answer", "2 of 3 complete", "cannot be compared")], 2,
    ),
    "lamp on, not told before": (
        changed(readiness=None), changed(readiness=dataclasses.replace(READY, lamp_on=True)),
        [("readiness", "no answer", "2 of 3 complete, lamp ON", "cannot be compared")], 2,
    ),
    "voltage not told before": (
        changed(voltage=None), UNIT, [("battery voltage", "no answer", "12.60 V", "cannot be compared")], 2,
    ),
    "VIN not told before": (
        changed(vin=""), UNIT, [("VIN", "no answer", VIN, "cannot be compared")], 2,
    ),
    "VIN told neither time": (changed(vin=""), changed(vin=""), [], 0),
    "voltage not told now": (
        UNIT, changed(voltage=None), [("battery voltage", "12.60 V", "no answer", "cannot be compared")], 2,
    ),
    "other PIDs": (
        UNIT, changed(pids=("01", "0D", "42")), [("supported PIDs", "0C", "0D", "changed")], 0,
    ),
    "PIDs not told": (UNIT, changed(pids=None), [], 0),
}  # fmt: skip


@pytest.mark.parametrize(("before", "now", "changes", "status"), CASES.values(), ids=CASES.keys())
def test_changes(before, now, changes, status):
    assert found(before, now) == (changes, status)


def test_a_unit_that_is_silent_now():
    result = compare(read(UNIT, UnitRead("7E9")), read(UNIT))
    assert [(c.unit, c.what, c.now, c.weight.value) for c in result.changes] == [
        ("7E9", "control unit", "no answer", "cannot be compared")
    ]


def test_a_unit_that_was_silent_before():
    result = compare(read(UNIT), read(UNIT, UnitRead("7E9", codes={"stored": ("U0100",)})))
    assert [(c.what, c.weight.value) for c in result.changes] == [
        ("control unit", "cannot be compared"),
        ("stored code U0100", "cannot be compared"),
    ]


@pytest.mark.parametrize(
    ("asked", "why"),
    [(None, "no answer"), ({"03", "01 0C"}, "no answer"), ({"01 0C"}, "not asked"), ({"0A"}, "not asked")],
    ids=["not known", "asked", "another tester asked for something else", "for what it did not tell"],
)
def test_a_unit_that_nobody_asked_is_not_said_to_be_silent(asked, why):
    """Another tester asks: nothing is sent, and what it asks for is all that can be heard."""
    other = UnitRead("7E9", codes={"stored": ("U0100",)})
    short = dataclasses.replace(read(UNIT), asked=None if asked is None else frozenset(asked))
    gone = [c for c in compare(read(UNIT, other), short).changes if c.unit == "7E9"]
    assert [(c.what, c.before, c.now) for c in gone] == [("control unit", "answers", why)]
    come = [c for c in compare(short, read(UNIT, other)).changes if c.unit == "7E9"]
    assert [(c.what, c.before) for c in come] == [("control unit", why), ("stored code U0100", why)]


ALL = frozenset({"01 01", "01 42", "03", "07", "0A", "09 02"})
TALKS = UnitRead("7E8", voltage=12.6)
EMPTY = dataclasses.replace(read(TALKS), asked=frozenset({"01 42"}))
FULL = dataclasses.replace(read(UNIT), asked=ALL)


def test_a_baseline_for_which_nothing_was_asked_is_no_baseline():
    result = compare(EMPTY, FULL)
    assert {(c.what, c.before, c.weight.value) for c in result.changes} == {
        (what, "not asked", "cannot be compared")
        for what in ("VIN", "stored codes", "pending codes", "permanent codes", "readiness")
    }
    assert result.exit_status == 2
    assert result.left_open == (
        "VIN", "stored codes (7E8)", "pending codes (7E8)", "permanent codes (7E8)", "readiness (7E8)",
    )  # fmt: skip


def test_what_nobody_asked_for_either_time_is_not_called_unchanged():
    result = compare(EMPTY, EMPTY)
    assert [(c.what, c.before, c.now) for c in result.changes] == [
        (what, "not asked", "not asked")
        for what in ("VIN", "stored codes", "pending codes", "permanent codes", "readiness")
    ]
    assert result.exit_status == 2


def test_what_was_asked_both_times_and_never_answered_is_not_missed():
    both = dataclasses.replace(read(TALKS), asked=ALL)
    assert (compare(both, both).changes, compare(both, both).exit_status) == ((), 0)


@pytest.mark.parametrize(
    ("before", "now", "left_open"),
    [
        ((), (), ("control units",)),
        ((), (UNIT,), ("VIN", "control unit (7E8)")),
        ((UNIT,), (), ("VIN", "control unit (7E8)")),
        ((), (UNIT, UnitRead("7E9")), ("VIN", "control unit (7E8, 7E9)")),
    ],
    ids=["nobody ever", "nobody before", "nobody now", "two now"],
)
def test_readings_in_which_nobody_said_anything(before, now, left_open):
    result = compare(read(*before), read(*now))
    assert (result.left_open, result.exit_status) == (left_open, 2)


def test_something_worse_counts_more_than_something_open():
    result = compare(read(changed(readiness=None)), read(changed(codes={**NONE, "stored": ("P0301",)})))
    assert (result.exit_status, result.left_open) == (1, ("readiness (7E8)",))


def test_what_a_reading_misses_and_why():
    assert FULL.missing == {}
    assert dataclasses.replace(read(TALKS), asked=frozenset({"03"})).missing == {
        "stored codes": "no answer",
        "pending codes": "not asked",
        "permanent codes": "not asked",
        "readiness": "not asked",
        "VIN": "not asked",
    }
    assert read().missing["VIN"] == "no answer", "it is not known what was asked"


def test_a_refusal_is_no_missing_answer_and_holds_for_its_unit():
    """7F 0A 11 and 7F 01 12: ISO 14229-1, service and sub-function not supported (from memory)."""
    first = UnitRead("7E8", refusals=("0A: service not supported (code 11)", "01 01: sub function not supported"))
    both = dataclasses.replace(read(first, UnitRead("7E9")), asked=ALL)
    assert both.lacks(first) == {
        "stored codes": "no answer",
        "pending codes": "no answer",
        "permanent codes": "refused, service not supported (code 11)",
        "readiness": "refused, sub function not supported",
    }
    assert both.lacks(both.units[1])["permanent codes"] == "no answer"
    assert both.missing["permanent codes"] == "refused, 7E8: service not supported (code 11)"
    assert both.absent("battery voltage", first) == "no answer", "another PID was refused"


def test_a_refusal_of_a_service_holds_for_all_that_it_would_tell():
    unit = UnitRead("7E8", refusals=("09: service not supported (code 11)",))
    assert read(unit).absent("VIN") == "refused, 7E8: service not supported (code 11)"


REFUSES = changed(codes={"stored": (), "pending": ()}, refusals=("0A: service not supported (code 11)",))


@pytest.mark.parametrize(
    ("before", "now", "changes", "in_neither", "status"),
    [
        (REFUSES, REFUSES, [], [("permanent codes", "refused, service not supported (code 11)")], 0),
        (UNIT, REFUSES, [("none", "refused, service not supported (code 11)", "cannot be compared")], [], 2),
        (REFUSES, UNIT, [("refused, service not supported (code 11)", "none", "cannot be compared")], [], 2),
        (UNIT, UNIT, [], [], 0),
    ],
    ids=["refused twice", "refused now", "refused before", "told twice"],
)
def test_refusals_compared(before, now, changes, in_neither, status):
    result = compare(dataclasses.replace(read(before), asked=ALL), dataclasses.replace(read(now), asked=ALL))
    assert [(c.before, c.now, c.weight.value) for c in result.changes] == changes
    assert [(lack.what, lack.now) for lack in result.in_neither] == in_neither
    assert result.exit_status == status


def test_a_vin_that_neither_reading_has():
    result = compare(*(dataclasses.replace(read(TALKS), asked=ALL) for _ in range(2)))
    assert ("", "VIN") in [(lack.unit, lack.what) for lack in result.in_neither]


def test_voltages():
    result = compare(read(UNIT), read(changed(voltage=12.31)))
    assert (result.volts, result.is_engine_alike) == ((Volts("7E8", 12.6, 12.31),), True)


@pytest.mark.parametrize(
    ("before", "now", "alike"),
    [(0.0, 0.0, True), (790.0, 650.0, True), (0.0, 790.0, False), (790.0, 0.0, False), (None, 790.0, True)],
    ids=["stood twice", "ran twice", "runs now", "ran before", "not known"],
)
def test_voltages_with_the_engine_running_at_one_time_only(before, now, alike):
    result = compare(read(changed(engine_rpm=before)), read(changed(engine_rpm=now)))
    assert result.is_engine_alike is alike


@pytest.mark.parametrize(
    ("before", "now", "sameness"),
    [
        ([VIN], [VIN], Sameness.SAME),
        ([VIN, VIN], [VIN], Sameness.SAME),
        ([VIN], [OTHER_VIN], Sameness.OTHER),
        ([VIN], [], Sameness.UNKNOWN),
        ([], [VIN], Sameness.UNKNOWN),
        ([], [], Sameness.UNKNOWN),
    ],
)
def test_whether_it_is_the_same_vehicle(before, now, sameness):
    units = [[UnitRead(f"7E{8 + k}", vin=vin) for k, vin in enumerate(vins)] for vins in (before, now)]
    assert compare(read(*units[0]), read(*units[1])).sameness is sameness


def test_nothing_is_compared_of_another_vehicle():
    result = compare(read(UNIT), read(changed(vin=OTHER_VIN, codes={**NONE, "stored": ("P0301",)})))
    assert (result.changes, result.volts, result.exit_status) == ((), (), 3)


def test_tally_keeps_the_newest_word():
    tally = VehicleTally()
    tally.codes("7E8", "stored", ["P0301"])
    tally.codes("7E8", "stored", [])
    tally.voltage("7E8", 12.5)
    tally.voltage("7E8", 12.6)
    tally.pids("7E8", ["01", "0C", "20"])
    tally.pids("7E8", ["42"])
    tally.refusal("7E9", "0A: service not supported (code 11)")
    tally.refusal("7E9", "0A: service not supported (code 11)")
    first, second = tally.result("body", 7).units
    assert (first.codes, first.voltage, first.pids) == ({"stored": ()}, 12.6, ("01", "0C", "42"))
    assert second.refusals == ("0A: service not supported (code 11)",)


def test_whether_the_engine_runs():
    assert read(UNIT).engine_runs is False
    assert read(UNIT, changed(unit="7E9", engine_rpm=800.0)).engine_runs is True
    assert read(UnitRead("7E8")).engine_runs is None
