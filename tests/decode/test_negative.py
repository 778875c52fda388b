"""Names of response codes against ISO 14229-1 (data/nrc.csv)."""

import csv
from pathlib import Path

import pytest

from busprobe.decode.negative import NAMES, PENDING, in_words, negative_name

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


@pytest.mark.parametrize(
    ("code", "words"),
    [
        # ISO 14229-1, table A.1, the same codes in ISO 15031-5 (both from memory).
        (0x10, "general reject"),
        (0x11, "service not supported"),
        (0x12, "sub function not supported"),
        (0x13, "incorrect message length or invalid format"),
        (0x21, "busy repeat request"),
        (0x22, "conditions not correct"),
        (0x31, "request out of range"),
        (0x33, "security access denied"),
        (0x8A, "throttle/pedal too high"),
        (0x8F, "brake switch(es) not closed"),
        (0xF5, "unnamed code F5"),
    ],
)
def test_names_in_words(code, words):
    assert in_words(negative_name(code)) == words
