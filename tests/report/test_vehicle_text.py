"""A vehicle's codes and readiness as text."""

import dataclasses
from pathlib import Path

import pytest
from vehicles import AT, ENGINE, GEARBOX, READ, READY, REPORT, SHORT, TESTER

from busprobe.analysis.vehicle import VehicleRead
from busprobe.analysis.vehicle_changes import compare
from busprobe.health import MOST_ASKED
from busprobe.report.vehicle_text import saved_lines, vehicle_lines, who_asks


def text_of(report=REPORT, **what):
    return "\n".join(vehicle_lines(dataclasses.replace(report, **what)))


def against(**what):
    """The report beside one of the same vehicle in which the engine's control unit said `what`."""
    before = VehicleRead("body", AT - 86_400_000_000_000, (dataclasses.replace(ENGINE, **what), READ.units[1]))
    return text_of(comparison=compare(before, READ), against="before.json")


def test_a_reading():
    assert (
        text_of()
        == """\
Vehicle  Roads patrol van 12
Read     live, bus body, 12 requests sent
At       2026-01-14 07:00:00 UTC
VIN      A0TPV3D23TK000012 (check digit is right)

Control units and trouble codes
===============================
unit id  name                 stored       pending    permanent         lamp  readiness        battery  engine
-------  -------------------  -----------  ---------  ----------------  ----  ---------------  -------  ------
7E8      ECM / EngineControl  P0301 U0100  none       P0420             ON    2 of 3 complete  12.68 V   0 rpm
7E9      TCM                  none         no answer  refused, service        no answer
                                                      not supported
                                                      (code 11)

7E8  not complete: catalyst
7E8  PIDs: 01 0C 0D 42
7E9  PIDs: 01
7E9  refused 0A: service not supported (code 11)

These services show emission-related trouble codes only. Codes of brakes, airbags, body and
other units, and the makers' own, are not among them: no codes here does not mean that the
vehicle has none.
Nothing was cleared or written; busprobe cannot do that."""
    )


def test_refusals_of_one_reason_share_a_line():
    refusals = ("01 01: a", "03: b", "01 42: a")
    said = text_of(read=VehicleRead("body", AT, (dataclasses.replace(GEARBOX, refusals=refusals),)))
    assert "\n7E9  refused 01 01, 01 42: a\n7E9  refused 03: b\n" in said


def test_nothing_said():
    said = text_of(read=VehicleRead("body", AT), requests=0)
    assert "VIN      no answer\n\nNo control unit said anything.\n" in said
    assert "Read     live, bus body, nothing was sent\n" in said


def test_what_nobody_asked_for_is_no_missing_answer():
    said = text_of(read=VehicleRead("body", AT, (GEARBOX,), frozenset({"03", "07"})))
    assert "VIN      not asked\n" in said
    assert "7E9      TCM   none    no answer  refused, service  not asked\n" in said


PASSIVE = VehicleRead("body", AT, (dataclasses.replace(GEARBOX, codes={}),), frozenset({"03", "01 01"}))


def test_saved():
    whole = dataclasses.replace(REPORT, read=VehicleRead("body", AT, (ENGINE,)))
    assert saved_lines(whole, Path("before.json")) == ["Saved in before.json."]
    report = dataclasses.replace(REPORT, read=PASSIVE, tester=TESTER)
    assert (
        "\n".join(saved_lines(report, Path("before.json")))
        == """\
Saved in before.json.
The saved reading is incomplete:
  7E9  stored codes (03), readiness (01 01): no answer
  7E9  pending codes (07): not asked
  7E9  permanent codes (0A): refused, service not supported (code 11)
  all  VIN (09 02): not asked
Another tester asked: unplug it and save once more, under another name, before the installation."""
    )


def test_what_could_not_be_compared_is_named():
    said = " ".join(text_of(comparison=compare(PASSIVE, READ), against="before.json").split())
    assert "Could not be compared: VIN, control unit (7E8), stored code P0301 (7E8), " in said
    assert "pending codes (7E9). Of these nothing says that they are as before. In neither reading, so not" in said


def test_what_neither_reading_has_is_named_by_control_unit():
    assert """\
In neither reading, so not compared:
  7E9  pending codes (07), readiness (01 01): no answer
  7E9  permanent codes (0A): refused, service not supported (code 11)
""" in against()


def test_what_did_not_come():
    assert """\
What did not come
=================
asked  unit id
-----  -------  --------------------
09 0A  7E9      the answer broke off
""" in text_of(shortfalls=(SHORT,))


def test_another_tester():
    assert """\
Another tester
==============
It asks as 7DF, 18DB33F1: 21 requests, 2 a second, for 01 0C 0D 42; 03.
""" in text_of(tester=TESTER)


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ({"requests": 1, "per_second": None, "asked": ("03",)}, "It asks as 7DF, 18DB33F1: 1 request, for 03."),
        ({"requests": 0, "stray_answers": 3},
         "Answers that nobody asked for on this bus were heard (3 frames): it asks behind a gateway."),
        ({"requests": 0, "asked": ()},
         "It was heard as 7DF, 18DB33F1, in the midst of an answer; no request of it was."),
        ({"asked": tuple(f"01 {pid:02X}" for pid in range(1, 15))},
         "It asks as 7DF, 18DB33F1: 21 requests, 2 a second, for "
         + "; ".join(f"01 {pid:02X}" for pid in range(1, 13)) + " and 2 more."),
        ({"requests": 5000, "asked": tuple(f"22 01 {low:02X}" for low in range(MOST_ASKED))},
         "It asks as 7DF, 18DB33F1: 5,000 requests, 2 a second, for "
         + "; ".join(f"22 01 {low:02X}" for low in range(12)) + " and many more."),
    ],
    ids=["once", "behind a gateway", "flow control alone", "many PIDs", "more than are kept"],
)  # fmt: skip
def test_of_another_tester(what, text):
    assert who_asks(dataclasses.replace(TESTER, **what)) == text


def test_unchanged():
    said = against()
    assert (
        """\
Compared with before.json
=========================
Read 2026-01-13 07:00:00 UTC.
No change in codes, lamp, readiness and PIDs.
7E8  battery 12.68 V before, 12.68 V now, difference +0.00 V
"""
        in said
    )


@pytest.mark.parametrize(
    ("volts", "told"), [(12.6845, "12.68 V before, 12.68 V now, difference +0.00 V"),
                        (12.6755, "12.68 V before, 12.68 V now, difference +0.00 V"),
                        (12.6885, "12.69 V before, 12.68 V now, difference -0.01 V")],
)  # fmt: skip
def test_hardly_changed(volts, told):
    """The difference is that of what is shown."""
    assert f"battery {told}" in against(voltage=volts)


def test_changed():
    said = against(
        codes={"stored": ("P0301",), "pending": (), "permanent": ("P0420",)},
        readiness=dataclasses.replace(READY, lamp_on=False, not_complete=()),
        voltage=13.9,
        engine_rpm=790.0,
    )
    assert (
        """\
unit id  what                 before     now
-------  -------------------  ---------  ------------  -----
7E8      stored code U0100    not there  there         worse
7E8      malfunction lamp     off        on            worse
7E8      readiness: catalyst  complete   not complete  worse
7E8  battery 13.90 V before, 12.68 V now, difference -1.22 V
The engine ran at only one of the readings: the voltages cannot be compared.
Monitors that were complete and are not any more: codes were cleared or the battery was
disconnected (common practice, no source). They complete again by driving; an emission test may
have to wait for it.
"""
        in said
    )


def test_another_vehicle():
    said = against(vin="1M8GDM9AXKP042788")
    assert "The VIN was 1M8GDM9AXKP042788 there: it is another vehicle, nothing is compared.\n" in said
    assert "difference" not in said


def test_no_vin_before():
    assert "No VIN in one of the readings: nothing says that it is the same vehicle.\n" in against(vin="")


def test_notes_stand_before_the_end():
    said = text_of(notes=('OBD answers were heard on the bus "engine" too; they are not shown.',))
    assert '\nOBD answers were heard on the bus "engine" too; they are not shown.\nThese services' in said
