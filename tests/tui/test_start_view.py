"""The start page's rows, and the file of what was opened lately."""

from __future__ import annotations

from pathlib import Path

import pytest

from busprobe.tui.recent import MOST, Opened, recent, remember, state_folder
from busprobe.tui.view.spans import plain
from busprobe.tui.view.start import Adapter, chosen, from_text, is_adapter, start_rows

DRIVE, BENCH = Path("/vans/drive.log"), Path("/vans/van12.toml")


def test_rows_of_the_start_page() -> None:
    recents = [Opened(DRIVE, BENCH), Opened(None, BENCH)]
    adapters = [Adapter("can0", "CAN link"), Adapter("/dev/ttyUSB0", "serial port", "no permission.")]
    rows = start_rows(recents, adapters)
    assert [[plain(c) for c in row.cells[:2]] for row in rows] == [
        ["Recording", "drive.log"],
        ["Live", "van12.toml"],
        ["Demo", "Patrol van"],
        ["Open", "Another file …"],
        ["Adapter", "● can0"],
        ["Adapter", "! /dev/ttyUSB0"],
    ]
    assert plain(rows[0].cells[2]) == f"{DRIVE.parent}, with van12.toml"
    assert plain(rows[5].cells[2]) == "no permission."
    assert chosen(rows[1].key, recents) == Opened(None, BENCH)
    assert chosen("demo", recents) is None
    assert is_adapter(rows[4].key)


def test_without_adapters_it_says_so() -> None:
    assert "none found" in plain(start_rows([], [])[-1].cells[1])
    assert "being looked for" in plain(start_rows([], None)[-1].cells[1])


@pytest.mark.parametrize(
    ("text", "opened"),
    [
        ("van12.toml", Opened(None, Path("van12.toml"))),
        (" drive.duckdb ", Opened(Path("drive.duckdb"), None)),
        ("DRIVE.TOML", Opened(None, Path("DRIVE.TOML"))),
        ("no suffix", Opened(Path("no suffix"), None)),
    ],
)
def test_a_typed_name(text: str, opened: Opened) -> None:
    assert from_text(text) == opened


def test_newest_comes_first_and_once(tmp_path: Path) -> None:
    for number in range(MOST + 3):
        remember(Opened(tmp_path / f"{number}.log", None), tmp_path)
    remember(Opened(tmp_path / "5.log", None), tmp_path)
    names = [opened.recording.name for opened in recent(tmp_path) if opened.recording]
    assert names[:3] == ["5.log", "14.log", "13.log"]
    assert len(names) == MOST
    assert len(set(names)) == MOST


@pytest.mark.parametrize("text", ["", "{", "[1]", '[{"recording": 7, "bench": null}]', '{"a": 1}', "null"])
def test_a_damaged_file_is_an_empty_list(text: str, tmp_path: Path) -> None:
    (tmp_path / "recent.json").write_text(text, encoding="utf-8")
    assert recent(tmp_path) == []


def test_a_folder_that_cannot_be_written_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    remember(Opened(DRIVE, None), tmp_path / "file")
    assert recent(tmp_path / "file") == []


def test_state_folder_follows_the_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_folder() == tmp_path / "busprobe"
    monkeypatch.setattr("sys.platform", "win32")
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "local"))
    assert state_folder() == tmp_path / "local" / "busprobe"
