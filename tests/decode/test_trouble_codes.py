"""Trouble codes against SAE J2012 (data/dtc.csv names the decoders that agree)."""

import csv
from pathlib import Path

import pytest

from busprobe.decode.trouble_codes import code_text, code_texts

ROWS = list(csv.DictReader((Path(__file__).parent / "data" / "dtc.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", ROWS, ids=[row["hex_bytes"] for row in ROWS])
def test_every_published_code(row):
    assert code_text(int(row["hex_bytes"], 16)) == row["expected"]


@pytest.mark.parametrize(
    ("data", "codes"),
    [
        ("", ()),
        ("0000", ()),
        ("0A1B", ("P0A1B",)),
        ("014300000196", ("P0143", "P0196")),
        ("0143C1", ("P0143",)),
    ],
    ids=["none", "padding", "hex digits in upper case", "padding between", "odd byte at the end"],
)
def test_codes_in_a_row(data, codes):
    assert code_texts(bytes.fromhex(data)) == codes


def test_all_letters_and_first_digits():
    """The two top bits are the letter, the next two the first digit."""
    texts = [code_text(top << 12) for top in range(16)]
    assert texts == [f"{letter}{digit}000" for letter in "PCBU" for digit in range(4)]
