"""Names of response codes against ISO 14229-1 (data/nrc.csv)."""

import csv
from pathlib import Path

import pytest

from busprobe.decode.negative import NAMES, PENDING, negative_name

ROWS = list(csv.DictReader((Path(__file__).parent / "data" / "nrc.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["nrc_hex"])
def test_every_published_name(row):
    code = int(row["nrc_hex"], 16)
    assert negative_name(code) == row["name"]
    assert (code != PENDING) == (row["final"] == "yes")


def test_no_name_without_a_source():
    assert sorted(NAMES) == sorted(int(row["nrc_hex"], 16) for row in ROWS)


def test_a_code_without_a_name_is_shown_as_it_is():
    assert negative_name(0xF5) == "unnamed code F5"
