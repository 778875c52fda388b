"""No report is written over what the command reads, nor over another of its files."""

from pathlib import Path

import pytest


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("verify good.log --bench van.toml --json good.log", "good.log: --json would write over the recording."),
        ("verify good.log --bench van.toml --json ./van.toml", "van.toml: --json would write over what --bench names."),
        (
            "verify good.log --bench van.toml --json van.dbc",
            "van.dbc: --json would write over a database of the bench file.",
        ),
        ("survey good.log --json good.log", "good.log: --json would write over the recording."),
        ("survey good.log --database van.dbc --json van.dbc", "--json would write over the database van.dbc."),
        ("decode good.log --database van.dbc --to van.dbc", "--to would write over the database van.dbc."),
        ("decode good.log --database van.dbc --to link.log", "--to would write over the recording."),
        ("record --bench van.toml --out a.duckdb --json a.duckdb", "--json would write over what --out names."),
        ("record --bench van.toml --out a.duckdb --json a.duckdb.wal", "--json would write over what --out names."),
        (
            "verify live --bench van.toml --record a.duckdb --json a.duckdb",
            "--json would write over what --record names.",
        ),
        ("vehicle good.log --against good.json --json good.json", "--json would write over what --against names."),
        ("vehicle good.log --save new.json --json new.json", "--json would write over what --save names."),
        ("vehicle good.log --bench van.toml --json van.toml", "--json would write over what --bench names."),
    ],
)
def test_a_file_that_is_read_or_written_is_refused(busprobe, folder: Path, line: str, told: str) -> None:
    (folder / "good.json").write_text("{}")
    (folder / "link.log").symlink_to("good.log")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    said = busprobe(line)
    assert (said.status, said.out) == (3, "")
    assert told in said.err
    assert "another name" in said.err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_report_beside_its_recording_is_written(busprobe, folder: Path) -> None:
    assert busprobe("verify good.log --bench van.toml --json good.json").status == 0
    assert (folder / "good.json").exists()
