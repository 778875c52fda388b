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
        [("permanent code P0420", "no answer", "there", "cannot be compared")], 2,
    ),
    "no codes not told before": (changed(codes={"stored": (), "pending": ()}), UNIT, [], 0),
    "readiness not told now": (
        UNIT, changed(readiness=None),
        [("readiness", "2 of 3 complete", "no answer", "cannot be compared")], 2,
    ),
    "readiness not told before": (changed(readiness=None), UNIT, [], 0),
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
        ("control unit", "changed"),
        ("stored code U0100", "cannot be compared"),
    ]


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
    tally.refusal("7E9", "0A: serviceNotSupported (code 11)")
    tally.refusal("7E9", "0A: serviceNotSupported (code 11)")
    first, second = tally.result("body", 7).units
    assert (first.codes, first.voltage, first.pids) == ({"stored": ()}, 12.6, ("01", "0C", "42"))
    assert second.refusals == ("0A: serviceNotSupported (code 11)",)


def test_whether_the_engine_runs():
    assert read(UNIT).engine_runs is False
    assert read(UNIT, changed(unit="7E9", engine_rpm=800.0)).engine_runs is True
    assert read(UnitRead("7E8")).engine_runs is None
