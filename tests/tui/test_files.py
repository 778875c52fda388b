"""Files of text that a person asked for."""

from __future__ import annotations

from pathlib import Path

import pytest
from fake_scene import FakeScene
from textual.widgets import Input

from busprobe.tui.app import BusprobeApp
from busprobe.tui.files import free_name, write_new


def test_a_name_that_is_free_stays(tmp_path: Path) -> None:
    assert free_name(tmp_path / "row.txt") == tmp_path / "row.txt"
    assert free_name(tmp_path / "no folder" / "row.txt") == tmp_path / "no folder" / "row.txt"


def test_the_next_free_name(tmp_path: Path) -> None:
    for name in ("row.txt", "row-2.txt"):
        (tmp_path / name).touch()
    (tmp_path / "row-3.txt").symlink_to("nowhere")
    assert free_name(tmp_path / "row.txt") == tmp_path / "row-4.txt"


@pytest.mark.parametrize("there", ["file", "folder", "link"])
def test_what_is_there_is_not_written_over(tmp_path: Path, there: str) -> None:
    path = tmp_path / "mine.txt"
    if there == "folder":
        path.mkdir()
    elif there == "link":
        path.symlink_to(tmp_path / "elsewhere.txt")
    else:
        path.write_text("my own notes\n", encoding="utf-8")
    assert write_new(path, "a row\n") == f'"{path}" is there already. Choose another name.'
    assert there != "file" or path.read_text(encoding="utf-8") == "my own notes\n"
    assert not (tmp_path / "elsewhere.txt").exists()


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    path = tmp_path / "no folder" / "row.txt"
    assert write_new(path, "a row\n") == f"{path}: No such file or directory. Choose another file."


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is full")
def test_half_a_file_is_not_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk is met when writing, after the file was made."""
    really_open = Path.open

    def made_but_full(path: Path, mode: str, encoding: str) -> object:
        really_open(path, mode, encoding=encoding).close()
        return really_open(Path("/dev/full"), "w", encoding=encoding)

    monkeypatch.setattr(Path, "open", made_but_full)
    path = tmp_path / "row.txt"
    assert write_new(path, "a row\n") == f"{path}: No space left on device. Choose another file."
    assert not path.exists()


@pytest.mark.parametrize(("keys", "name"), [("e", "busprobe-row"), ("4 s", "handover-triggers")])
async def test_a_file_of_the_user_stays_as_it_was(
    replay: FakeScene, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keys: str, name: str
) -> None:
    """Rows and trigger logs: a name that is taken is refused, and the next time another one is proposed."""
    monkeypatch.chdir(tmp_path)
    suffix = ".txt" if keys == "e" else ".csv"
    (tmp_path / "drives").mkdir()
    folder = Path("drives") if suffix == ".csv" else Path()
    mine = folder / f"{name}{suffix}"
    mine.write_text("my own notes\n", encoding="utf-8")
    app = BusprobeApp(replay)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*keys.split())
        await pilot.pause()
        asked = app.screen.query_one(Input)
        assert asked.value == str(folder / f"{name}-2{suffix}")
        asked.value = str(mine)
        await pilot.press("enter")
        await pilot.pause()
        told = [note.message for note in app._notifications]
        assert f'"{mine}" is there already. Choose another name.' in told
        assert mine.read_text(encoding="utf-8") == "my own notes\n"
