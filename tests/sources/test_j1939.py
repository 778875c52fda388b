"""Which 29-bit identifiers are those of a J1939 network."""

import csv
from pathlib import Path

import numpy as np
import pytest
from obd_bus import START, batch_of

from busprobe.frames import ERROR
from busprobe.sources.j1939 import J1939Watch, is_j1939, j1939_text

ROWS = list(csv.DictReader((Path(__file__).parent / "data" / "j1939_ids.csv").open(encoding="utf-8")))
DIAGNOSTIC = {"ISO 15765 functional", "ISO 15765 physical"}


def seen(*identifiers):
    return [int(i) for i in np.array(identifiers, np.uint32)[is_j1939(np.array(identifiers, np.uint32))]]


@pytest.mark.parametrize("row", ROWS, ids=[row["can_id"] for row in ROWS])
def test_identifiers_of_the_standard(row):
    """Taken apart by two other programs, see the source column."""
    identifier = int(row["can_id"], 16)
    assert bool(seen(identifier)) is (row["name"] not in DIAGNOSTIC)


# 29-bit identifiers that vehicles without J1939 use. Source: their bit pattern alone; from memory.
OTHERS = [
    (0x17F00010, "EDP set"),
    (0x1BFF0000, "EDP set, PF FF"),
    (0x12DD54D2, "EDP set, priority 4"),
    (0x10FFE060, "priority 4"),
    (0x00F00400, "priority 0"),
    (0x0C2F6040, "PF below E8"),
    (0x18DB33F1, "diagnostic request to all"),
    (0x18DA10F1, "diagnostic request to one"),
    (0x18DAF110, "diagnostic answer"),
    (0x18DBEFF1, "diagnostic request to a group"),
]


@pytest.mark.parametrize("identifier", [i for i, _ in OTHERS], ids=[text for _, text in OTHERS])
def test_other_identifiers(identifier):
    assert seen(identifier) == []


@pytest.mark.parametrize(
    ("identifier", "text"),
    [
        (0x0CF00400, "0CF00400, EEC1"),
        (0x18FEF127, "18FEF127, CCVS1"),
        (0x18FECA03, "18FECA03, DM1"),
        (0x18FF1234, "18FF1234, a broadcast"),
        (0x18EAFF00, "18EAFF00, request"),
        (0x0C000003, "0C000003, torque control"),
    ],
)
def test_named_for_the_user(identifier, text):
    assert j1939_text(identifier) == text


@pytest.mark.parametrize(
    ("frames", "expected"),
    [
        ([(START, 0x7E8, b"")], None),
        ([(START, 0x7F0, b"")], None),
        ([(START, 0x18DAF110, b""), (START, 0x18FEF100, b""), (START, 0x0CF00400, b"")], 0x18FEF100),
        ([(START, 0x18FEF100, b"", ERROR)], None),
        ([], None),
    ],
    ids=["11 bits", "11 bits above", "first one counts", "error frame", "nothing"],
)
def test_watch(frames, expected):
    watch = J1939Watch()
    watch.feed(batch_of(frames))
    assert watch.seen == expected
    watch.feed(batch_of([(START, 0x100, b"")]))
    assert watch.seen == expected
