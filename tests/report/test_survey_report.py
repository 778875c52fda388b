"""The survey, as text and as JSON."""

import json

from busprobe.analysis.intervals import IntervalStats, Sending
from busprobe.analysis.obd_seen import ObdSummary, ObdTally
from busprobe.analysis.presence import Presence, TapSeen
from busprobe.analysis.survey_report import SurveyReport
from busprobe.analysis.survey_result import (
    AnalogueSeen,
    BitRate,
    BoxSeen,
    ChannelSeen,
    IdentifierSeen,
    LineSeen,
    SurveyResult,
)
from busprobe.errors import Problem
from busprobe.frames import Condition, SourceState
from busprobe.report.as_json import dump
from busprobe.report.obd_text import asked_text
from busprobe.report.survey_json import survey_json
from busprobe.report.survey_text import FAULTS_SHOWN, changing_text, survey_lines

MS = 1_000_000
S = 1_000_000_000
T0 = 1_768_374_000 * S
END = T0 + 60 * S


def identifier(number: int, extended: bool = False, **more: object) -> IdentifierSeen:
    intervals = IntervalStats(3000, Sending.CYCLIC, 20 * MS, 400_000, 25 * MS, T0 + 5 * S)
    fields: dict[str, object] = {
        "channel": "can0", "identifier": number, "extended": extended, "message": "WheelSpeed", "count": 3001,
        "remotes": 0, "lengths": (8,), "first_ns": T0, "last_ns": END, "intervals": intervals, "changing": (0x0300FF,),
    }  # fmt: skip
    return IdentifierSeen(**{**fields, **more})  # type: ignore[arg-type]


def obd() -> ObdSummary:
    tally = ObdTally()
    tally.identity(
        T0 + S, "can0", "7E8", infotype=2, title="VIN", text="1M8GDM9AXKP042788", note="check digit is right"
    )
    tally.codes(T0 + S, "can0", "7E8", "confirmed", ("P0301",))
    tally.codes(T0 + S, "can0", "7E8", "pending", ())
    tally.negative(T0 + S, "can0", "7E8", service=9, reason_code=0x12, reason="sub-function not supported")
    for k, speed in enumerate((30.0, 10.0, 50.0)):
        t = T0 + k * S // 2
        tally.request(t, "can0", 0x7DF, extended=False, was_sent=False, asked=("01 0D",))
        tally.value(t, "can0", "7E8", service=1, pid="0D", name="0D", title="Vehicle speed", value=speed, unit="km/h")
    return tally.result(broken=1)


def report() -> SurveyReport:
    channel = ChannelSeen("can0", T0, END, 3010, 2, 3, 0, 0, 0.1234, 0.25, T0 + 7 * S, 3001)
    seldom = identifier(
        0x18FEF100, True, message=None, count=1, remotes=3, lengths=(1, 2), changing=(0,),
        intervals=IntervalStats(0, Sending.SINGLE),
    )  # fmt: skip
    box = BoxSeen(
        "box", 6000, 0, T0, END, IntervalStats(5999, Sending.CYCLIC, 10 * MS, 500_000, 31 * MS, T0),
        (LineSeen(3, "rear_door", 14, True),), (AnalogueSeen(0, "battery", 11_800, 13_900),),
    )  # fmt: skip
    signals = (
        TapSeen("speed", "body.WheelSpeed.VehicleSpeed", Presence.PRESENT, 3001, END, 0, None, 100 * MS),
        TapSeen("gear", "body.Transmission.Gear", Presence.MISSING),
        TapSeen(
            "brake", "body.Brake.Pedal", Presence.STALE, 40, T0 + 9 * S, 51 * S, 500 * MS, 300 * MS, "longest gap 4 s"
        ),
    )
    return SurveyReport(
        "drive.log", SurveyResult(T0, END, (channel,), (identifier(0x100), seldom), (box,), (), 0), obd(), signals,
        vehicle="Roads patrol van 12", bit_rates={"can0": BitRate(500_000)},
    )  # fmt: skip


REPORT = """\
Vehicle    Roads patrol van 12
Recording  drive.log
Begins     2026-01-14 07:00:00 UTC
Length     60 s, 3,010 frames

Channels
========
channel  frames  length    load  busiest second  errors  remote  decoded
-------  ------  ------  ------  --------------  ------  ------  -------
can0      3,010    60 s  12.3 %          25.0 %       2       3   99.9 %

Identifiers on can0: 2
======================
      id  message          frames  sent     period  jitter  longest       at  changing bits
--------  ----------  -----------  ------  -------  ------  -------  -------  ----------------
     100  WheelSpeed        3,001  cyclic  20.0 ms  400 µs  25.0 ms  5.000 s  FF00030000000000
18FEF100              1 +3 remote  single                                     0000
period: median interval. jitter: from the 5 % to the 95 % point of the intervals. longest, at:
the longest interval, and when it began. changing bits: two hex digits a payload byte, first
byte first, a 1 for each bit that was not always the same.

Input box box
=============
6,000 samples, period 10.0 ms, jitter 500 µs, longest 31.0 ms
      line  name       edges  level at the end
----------  ---------  -----  --------------------
         3  rear_door     14  high
analogue 0  battery           11.800 V to 13.900 V

Signals of the bench file
=========================
signal  from                          state    samples      last  max_age  proposed
------  ----------------------------  -------  -------  --------  -------  --------  ---------------
speed   body.WheelSpeed.VehicleSpeed  present    3,001  60.000 s             100 ms
gear    body.Transmission.Gear        missing
brake   body.Brake.Pedal              stale         40   9.000 s   500 ms    300 ms  longest gap 4 s
1 present, 1 stale, 1 missing.

OBD
===
7E8  VIN: 1M8GDM9AXKP042788 (check digit is right)
7E8  confirmed code P0301 (1 time)
7E8  pending code none (1 time)
7E8  refused service 09: sub-function not supported (code 12, 1 time)
Another tester asks on can0 as 7DF: 3 requests from 0.000 s to 1.000 s, 2 a second, for 01 0D
1 message of several frames begun and never completed

unit id  quantity  what           answers  first  last  least  greatest  unit
-------  --------  -------------  -------  -----  ----  -----  --------  ----
7E8      01 0D     Vehicle speed        3     30    50     10        50  km/h
"""


def test_the_whole_text() -> None:
    assert "\n".join(survey_lines(report())) + "\n" == REPORT


def test_an_empty_recording() -> None:
    empty = SurveyReport("nothing.log", SurveyResult(None, None, (), (), (), (), 0))
    assert survey_lines(empty) == ["Recording  nothing.log", "Length     nothing in it"]
    assert survey_json(empty)["duration_s"] is None


def test_the_bit_rate_is_asked_for_where_it_is_not_known() -> None:
    channel = ChannelSeen("can0", T0, END, 1, 0, 0, 0, 0)
    lines = survey_lines(SurveyReport("a.log", SurveyResult(T0, END, (channel,), (), (), (), 0)))
    assert "No bus load: the bit rate is not known. --bitrate N gives it." in lines


def test_sources_that_were_down_are_told() -> None:
    states = (SourceState(T0, "box", Condition.UP), SourceState(T0 + 5 * S, "box", Condition.DOWN, "no answer"))
    lines = survey_lines(SurveyReport("a.log", SurveyResult(T0, END, (), (), (), states, 7)))
    assert lines[-7:] == [
        "Sources up and down",
        "===================",
        "   time  source  state  note",
        "-------  ------  -----  ---------",
        "0.000 s  box     up",
        "5.000 s  box     down   no answer",
        "and 5 more",
    ]
    quiet = survey_lines(SurveyReport("a.log", SurveyResult(T0, END, (), (), (), states[:1], 1)))
    assert "Sources up and down" not in quiet


def test_faults_of_databases_are_listed_up_to_a_number() -> None:
    faults = tuple(Problem(f"fault {k}.", "van.dbc", k) for k in range(FAULTS_SHOWN + 3))
    lines = survey_lines(SurveyReport("a.log", SurveyResult(T0, END, (), (), (), (), 0), faults=faults))
    assert "van.dbc, line 1: fault 1." in lines
    assert lines[-1] == "and 3 more; --json FILE writes all of them"


def test_changing_bits_first_byte_first() -> None:
    assert changing_text(identifier(1)) == "FF00030000000000"
    assert changing_text(identifier(1, lengths=(2,))) == "FF00"
    assert changing_text(identifier(1, lengths=())) == ""
    assert changing_text(identifier(1, lengths=(8, 12), changing=(0xFF, 1))) == "9 of 96 bits"


def test_json() -> None:
    found = json.loads(dump(survey_json(report())))
    (pid,) = found["obd"]["pids"]
    wanted = {
        "control_unit": "7E8", "pid": "0D", "count": 3, "first": 30.0, "last": 50.0, "least": 10.0, "greatest": 50.0,
        "unit": "km/h",
    }  # fmt: skip
    assert {key: pid[key] for key in wanted} == wanted
    assert found["obd"]["vin"] == ["1M8GDM9AXKP042788"]
    assert found["obd"]["testers"][0]["per_second"] == 2.0
    assert found["identifiers"][0]["changing_bits"] == "ff00030000000000"
    assert found["identifiers"][0]["longest_gap_from_s"] == 5.0
    assert found["channels"][0]["load"] == 0.1234
    assert found["channels"][0]["decoded_share"] == 3001 / 3005
    assert [one["state"] for one in found["signals"]] == ["present", "missing", "stale"]
    assert found["signals"][2]["proposed_max_age_ms"] == 300.0


def test_what_was_asked_stands_as_in_the_report_of_vehicle() -> None:
    """Each service once; the JSON file has every PID by itself."""
    assert asked_text(("01 0C", "01 0D", "03", "01 42", "09 02")) == "01 0C 0D 42; 03; 09 02"
