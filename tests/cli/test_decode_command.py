"""`busprobe decode`: files, choice of signals, messages."""

import csv
from pathlib import Path

import duckdb
import pytest


def rows() -> list[dict[str, str]]:
    with Path("out.csv").open(newline="") as stream:
        return list(csv.DictReader(stream))


def test_csv(busprobe) -> None:
    said = busprobe("decode good.log --database van.dbc --to out.csv")
    assert said.status == 0
    assert said.out == "out.csv: 900 samples of 3 signals\n600 frames decoded of 600 (100.0 %)\n"
    found = rows()
    assert list(found[0]) == ["time_s", "channel", "message", "signal", "raw", "value", "label", "unit"]
    reverse = [row for row in found if row["signal"] == "Gear" and row["label"] == "Reverse"]
    assert float(reverse[0]["time_s"]) == 2.0
    assert (reverse[0]["channel"], reverse[0]["message"], reverse[0]["raw"]) == ("can0", "Transmission", "1")
    assert {row["unit"] for row in found if row["signal"] == "Speed"} == {"km/h"}


def test_parquet(busprobe) -> None:
    assert busprobe("decode good.log --database van.dbc --to out.parquet").status == 0
    ((count, label),) = duckdb.sql("SELECT count(*), max(label) FROM 'out.parquet' WHERE signal = 'Gear'").fetchall()
    assert (count, label) == (300, "Reverse")


@pytest.mark.parametrize(
    ("names", "signals"),
    [("Gear", {"Gear"}), ("Gear Lamps.RearWhite", {"Gear", "RearWhite"}), ("Speed --signals Gear", {"Speed", "Gear"})],
    ids=["one", "two in a row", "given again"],
)
def test_chosen_signals(busprobe, names: str, signals: set[str]) -> None:
    assert busprobe(f"decode good.log --database van.dbc --to out.csv --signals {names}").status == 0
    assert {row["signal"] for row in rows()} == signals


UNUSABLE = [
    ("unknown signal", "--database van.dbc --to out.csv --signals Gaer",
     'No signal "Gaer" in the databases. Nearest known name: "Gear".\n'),
    ("unknown signal of a message", "--database van.dbc --to out.csv --signals Lamp.RearWhite",
     'No signal "Lamp.RearWhite" in the databases. Nearest known name: "Lamps.RearWhite".\n'),
    ("no database", "--to out.csv", "--database FILE is missing: it says which signals there are."),
    ("missing database", "--database none.dbc --to out.csv", "none.dbc: There is no such database file.\n"),
    ("another kind of file", "--database van.dbc --to out.xls",
     'Samples are written as ".csv" or ".parquet", not as ".xls".'),
    ("no such folder", "--database van.dbc --to none/out.csv", "The folder to write to does not exist."),
]  # fmt: skip


@pytest.mark.parametrize(("options", "message"), [row[1:] for row in UNUSABLE], ids=[row[0] for row in UNUSABLE])
def test_what_cannot_be_used_ends_with_3(busprobe, options: str, message: str) -> None:
    said = busprobe(f"decode good.log {options}")
    assert said.status == 3
    assert message in said.err
    assert not Path("out.csv").exists()


def test_frames_of_another_length_and_hidden_messages_are_told(busprobe, folder: Path) -> None:
    (folder / "good.log").write_text((folder / "good.log").read_text().replace("100#0005", "100#00", 2))
    said = busprobe("decode good.log --database van.dbc van.dbc --to out.csv")
    assert said.status == 0
    assert "2 frames of Transmission shorter than the database says, decoded as far as they go." in said.out
    assert 'Message "Lamps" is not used: a database named before it has its identifier.' in said.out
