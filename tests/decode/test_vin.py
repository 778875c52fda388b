"""VIN check digits against 49 CFR 565.15 and published examples."""

import csv
from pathlib import Path

import pytest

from busprobe.decode.vin import VALUES, WEIGHTS, check_vin

DATA = Path(__file__).parent / "data"


def rows(name):
    return list(csv.DictReader((DATA / name).open(encoding="utf-8")))


@pytest.mark.parametrize("row", rows("vin.csv"), ids=lambda row: row["vin"])
def test_every_published_vin(row):
    check = check_vin(row["vin"])
    assert check.valid == (row["expected"] == "valid")
    assert check.weighted_sum == (int(row["weighted_sum"]) if row["weighted_sum"] else None)
    assert check.computed == row["check_char"]
    if check.computed:
        assert row["vin"][8] == row["given_char"]


def test_values_are_those_of_table_iii():
    assert {row["char"]: int(row["value"]) for row in rows("vin_transliteration.csv")} == VALUES


def test_weights_are_those_of_table_iv():
    assert tuple(int(row["weight"]) for row in rows("vin_weights.csv")) == WEIGHTS


@pytest.mark.parametrize(
    ("vin", "note"),
    [
        ("1M8GDM9AXKP042788", "check digit is right"),
        # In many public examples, though its check digit should be X.
        ("1D4GP00R55B123456", 'check digit is "5", computed "X"; outside North America it need not hold'),
        ("1M8GDM9AXKPO42788", '"O" is not allowed in a VIN'),
        ("1m8GDM9AXKP042788", '"m" is not allowed in a VIN'),
        ("1M8GDM9AXKP04278", "16 characters instead of 17"),
        ("", "0 characters instead of 17"),
    ],
)
def test_what_the_user_is_told(vin, note):
    assert check_vin(vin).note == note
