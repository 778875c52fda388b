"""The trigger log as a file."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from busprobe.report.trigger_log import triggers_csv, triggers_json, triggers_text
from busprobe.results import LogLine, TriggerEntry

S = 1_000_000_000
ENTRIES = (
    TriggerEntry("Reverse selected", 3 * S, 3 * S, {"gear": "R"}),
    TriggerEntry('Door, "rear", opens', 5 * S, 6 * S, {"rear_door": "on", "speed": "12.4 km/h"}, 4 * S, 7 * S),
)


def test_csv() -> None:
    assert triggers_csv(ENTRIES, S) == (
        "t_s,t_ns,trigger,decided_ns,keep_from_ns,keep_to_ns,signals\n"
        "2.0,3000000000,Reverse selected,3000000000,,,gear R\n"
        '4.0,5000000000,"Door, ""rear"", opens",6000000000,4000000000,7000000000,rear_door on; speed 12.4 km/h\n'
    )


def test_csv_is_read_back_by_the_standard_reader() -> None:
    rows = list(csv.DictReader(triggers_csv(ENTRIES, S).splitlines()))
    assert [row["trigger"] for row in rows] == [entry.name for entry in ENTRIES]


def test_no_entries() -> None:
    assert triggers_csv((), 0).count("\n") == 1


@pytest.mark.parametrize("name", ["log.json", "LOG.JSON"])
def test_json_where_the_name_says_so(name: str) -> None:
    report = json.loads(triggers_text(Path(name), ENTRIES, S))
    assert report["start_ns"] == S
    assert report["triggers"][1]["signals"] == {"rear_door": "on", "speed": "12.4 km/h"}
    assert report["triggers"][1]["t_s"] == 4.0


def test_json_says_which_lines_are_markers() -> None:
    entries = (*ENTRIES, TriggerEntry("Marker", 8 * S, 8 * S, {"button": "on"}, is_marker=True))
    assert [e["marker"] for e in json.loads(triggers_json(entries, S))["triggers"]] == [False, False, True]


def test_sleeps_and_wakes_of_buses_are_in_it() -> None:
    """In JSON apart, as `verify --json` has them."""
    entries = (*ENTRIES, LogLine(10 * S, 8 * S, -1, "asleep", "body", "nothing heard on body since"))
    assert triggers_csv(entries, S).splitlines()[-1] == (
        "7.0,8000000000,body asleep,10000000000,,,nothing heard on body since"
    )
    report = json.loads(triggers_json(entries, S))
    assert len(report["triggers"]) == len(ENTRIES)
    assert report["bus_log"] == [
        {
            "channel": "body",
            "kind": "asleep",
            "t_ns": 8 * S,
            "t_s": 7.0,
            "text": "nothing heard on body since",
        }
    ]


def test_csv_for_every_other_name() -> None:
    assert triggers_text(Path("log.txt"), ENTRIES, S) == triggers_csv(ENTRIES, S)
