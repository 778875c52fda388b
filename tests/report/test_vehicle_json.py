"""A vehicle's reading as JSON, and read back."""

import dataclasses
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vehicles import AT, ENGINE, GEARBOX, READ, REPORT, SHORT, TESTER

from busprobe.analysis.vehicle import Readiness, UnitRead, VehicleRead
from busprobe.analysis.vehicle_changes import compare
from busprobe.errors import BusprobeError, Problems
from busprobe.report.as_json import dump
from busprobe.report.vehicle_json import vehicle_json
from busprobe.report.vehicle_saved import load_vehicle

HINT = '\nWrite one with "busprobe vehicle live --bench FILE --allow-requests --save FILE".'


def test_every_key():
    before = VehicleRead("body", AT - 1, (dataclasses.replace(ENGINE, voltage=12.9), GEARBOX))
    report = dataclasses.replace(
        REPORT, shortfalls=(SHORT,), tester=TESTER, comparison=compare(before, READ), against="before.json"
    )
    found = json.loads(dump(vehicle_json(report)))
    note = found.pop("notes")[-1]
    assert note.startswith("These services show emission-related trouble codes only.")
    assert found == {
        "format": "busprobe vehicle",
        "version": 1,
        "vehicle": "Roads patrol van 12",
        "source": "live",
        "bus": "body",
        "read_ns": AT,
        "read_at": "2026-01-14 07:00:00 UTC",
        "requests": 12,
        "exit_status": 0,
        "vin": ["A0TPV3D23TK000012"],
        "asked": None,
        "missing": {},
        "control_units": [
            {
                "unit": "7E8",
                "name": "ECM / EngineControl",
                "vin": "A0TPV3D23TK000012",
                "vin_note": "check digit is right",
                "pids": ["01", "0C", "0D", "42"],
                "codes": {"stored": ["P0301", "U0100"], "pending": [], "permanent": ["P0420"]},
                "readiness": {
                    "lamp_on": True,
                    "codes_counted": 2,
                    "ignition": "spark",
                    "supported": ["misfire", "fuel", "catalyst"],
                    "not_complete": ["catalyst"],
                },
                "voltage_v": 12.684,
                "engine_rpm": 0.0,
                "refusals": [],
                "missing": {},
            },
            {
                "unit": "7E9",
                "name": "TCM",
                "vin": "",
                "vin_note": "",
                "pids": ["01"],
                "codes": {"stored": [], "pending": None, "permanent": None},
                "readiness": None,
                "voltage_v": None,
                "engine_rpm": None,
                "refusals": ["0A: service not supported (code 11)"],
                "missing": {
                    "pending codes": "no answer",
                    "permanent codes": "refused, service not supported (code 11)",
                    "readiness": "no answer",
                },
            },
        ],
        "not_answered": [{"asked": "09 0A", "unit": "7E9", "what": "the answer broke off"}],
        "other_tester": {
            "identifiers": ["7DF", "18DB33F1"],
            "requests": 21,
            "per_second": 2.0,
            "asked": ["01 0C 0D 42", "03"],
            "stray_answers": 0,
        },
        "compared": {
            "against": "before.json",
            "sameness": "same vehicle",
            "vin_before": ["A0TPV3D23TK000012"],
            "read_before_ns": AT - 1,
            "changes": [],
            "voltage": [{"unit": "7E8", "before_v": 12.9, "now_v": 12.684, "difference_v": -0.216}],
            "in_neither": [
                {"unit": "7E9", "what": "pending codes", "before": "no answer", "now": "no answer"},
                {
                    "unit": "7E9",
                    "what": "permanent codes",
                    "before": "refused, service not supported (code 11)",
                    "now": "refused, service not supported (code 11)",
                },
                {"unit": "7E9", "what": "readiness", "before": "no answer", "now": "no answer"},
            ],
            "engine_alike": True,
        },
        "problems": None,
    }


def test_of_a_recording():
    found = vehicle_json(dataclasses.replace(REPORT, source="drive.log", problems=Problems()))
    assert found["problems"] == {"count": 0, "first": []}
    assert (found["compared"], found["other_tester"]) == (None, None)


TEXTS = st.lists(st.text("ABC019 /", min_size=1, max_size=6), max_size=3).map(tuple)
NUMBERS = st.none() | st.floats(0, 1e5, allow_nan=False)
UNITS = st.builds(
    UnitRead,
    st.sampled_from(["7E8", "7E9", "18DAF110"]),
    st.text(max_size=8),
    st.sampled_from(["", "A0TPV3D23TK000012"]),
    st.text(max_size=8),
    st.none() | TEXTS,
    st.dictionaries(st.sampled_from(["stored", "pending", "permanent"]), TEXTS),
    st.none() | st.builds(Readiness, st.booleans(), st.integers(0, 127), TEXTS, TEXTS, st.sampled_from(["spark", ""])),
    NUMBERS,
    NUMBERS,
    TEXTS,
)


ASKED = st.none() | st.frozensets(st.sampled_from(["03", "07", "01 01", "09 02"]))


@given(st.lists(UNITS, max_size=3), st.integers(0, 2**62), ASKED)
def test_what_is_saved_is_read_back(tmp_path_factory, units, read_ns, asked):
    read = VehicleRead("body", read_ns, tuple(units), asked)
    path = tmp_path_factory.getbasetemp() / "before.json"
    path.write_text(dump(vehicle_json(dataclasses.replace(REPORT, read=read))), encoding="utf-8")
    assert load_vehicle(path) == read


BAD = {
    "no JSON": ('{"format":\n  "busprobe vehicle",,}', ", line 2: this is no JSON: Expecting property name"),
    "a list": ("[]", ": this is no vehicle report of busprobe."),
    "another report": ('{"vehicle": "van", "checks": []}', ": this is no vehicle report of busprobe."),
    "later version": (
        '{"format": "busprobe vehicle", "version": 2}', ': version "2" of the report is not known; 1 is.',
    ),
    "key missing": (
        '{"format": "busprobe vehicle", "version": 1, "bus": "body", "read_ns": 0}',
        ": the report is damaged: 'control_units' is missing.",
    ),
    "wrong type": (
        '{"format": "busprobe vehicle", "version": 1, "bus": "body", "read_ns": 0, "control_units": [1]}',
        ": the report is damaged: it is not built as busprobe writes it.",
    ),
    "text for a list": (
        '{"format": "busprobe vehicle", "version": 1, "bus": "body", "read_ns": "x", "control_units": "none"}',
        ": the report is damaged: it is not built as busprobe writes it.",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("content", "message"), BAD.values(), ids=BAD.keys())
def test_files_that_are_no_reading(tmp_path, content, message):
    path = tmp_path / "before.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(BusprobeError) as caught:
        load_vehicle(path)
    assert str(caught.value).startswith(f"{path}{message}")
    assert str(caught.value).endswith(HINT)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(BusprobeError) as caught:
        load_vehicle(tmp_path / "before.json")
    assert str(caught.value) == f"{tmp_path / 'before.json'}: there is no such file.{HINT}"
