"""Detection: what a file is, and the exact text where it is nothing that can be read."""

from __future__ import annotations

from pathlib import Path

import contract
import pytest

from busprobe.errors import OpenError
from busprobe.sources import FORMATS, Format
from busprobe.sources.detect import detect

EXPECTED = (
    "Expected one of: candump text (.log, .txt), BLF (.blf), ASC (.asc), TRC (.trc), "
    "CSV of python-can (.csv), busprobe recording (.duckdb)."
)
ALSO = ("busprobe recording (.duckdb)",)


@pytest.mark.parametrize("fmt", FORMATS, ids=lambda fmt: fmt.name)
@pytest.mark.parametrize("suffix", [None, ".log", ".blf", ""], ids=["own suffix", ".log", ".blf", "no suffix"])
def test_content_decides(fmt, suffix, tmp_path):
    sample = contract.SAMPLES[fmt.name]
    path = contract.write(sample, tmp_path / f"drive{sample.suffix}", contract.drive())
    if suffix is not None:
        path = path.rename(tmp_path / f"other{suffix}")
    assert detect(path) is fmt


def refused(path: Path) -> str:
    with pytest.raises(OpenError) as caught:
        detect(path, ALSO)
    return str(caught.value)


def test_missing_file(tmp_path):
    (tmp_path / "demo_run.log").write_text("x")
    path = tmp_path / "demorun.log"
    assert refused(path) == (
        f'{path}: there is no such file.\nCheck the name and the folder. Nearest known name: "demo_run.log".'
    )
    path = tmp_path / "no_folder" / "a.log"
    assert refused(path) == f"{path}: there is no such file.\nCheck the name and the folder."


def test_empty_file(tmp_path):
    path = tmp_path / "empty.log"
    path.touch()
    assert refused(path) == f"{path}: the file is empty.\nRecord it again, or choose another file."


def test_folder(tmp_path):
    assert refused(tmp_path) == f"{tmp_path}: this is a folder, not a recording.\nName a file in it."


def refusing(monkeypatch, error):
    def refuse(*args, **kwargs):
        raise error

    monkeypatch.setattr(Path, "open", refuse)


def test_no_permission(tmp_path, monkeypatch):
    refusing(monkeypatch, PermissionError(13, "Permission denied"))
    assert refused(tmp_path / "a.log") == (
        f"{tmp_path / 'a.log'}: you may not read this file.\n"
        "Ask its owner for permission to read it, or copy it to a folder of your own."
    )


def test_faulty_disk(tmp_path, monkeypatch):
    refusing(monkeypatch, OSError(5, "Input/output error"))
    assert refused(tmp_path / "a.log") == (
        f"{tmp_path / 'a.log'}: the file cannot be read: Input/output error.\nChoose another file."
    )


STRANGERS = [
    ("junk.log", bytes(range(256)) * 20, r"\x00\x01\x02\x03\x04\x05\x06\x07"),
    ("notes.txt", b"Winter patrol van, notes\n", "Winter p"),
    ("table.csv", b"time,speed\n1,2\n", r"time,spe"),
    ("short.blf", b"LO", "LO"),
    ("blank.log", b"\n", r"\x0a"),
]


@pytest.mark.parametrize(("name", "content", "start"), STRANGERS, ids=[s[0] for s in STRANGERS])
def test_file_of_no_known_format(name, content, start, tmp_path):
    path = tmp_path / name
    path.write_bytes(content)
    assert refused(path) == (
        f'{path}: this is not a recording that busprobe can read: it starts with "{start}".\n{EXPECTED}'
    )


def claiming(name: str, suffix: str) -> Format:
    return Format(name, (suffix,), lambda head: head.startswith(b"A"), FORMATS[0].read, 1)


def test_two_claimants(tmp_path):
    formats = (claiming("wide text", ".wide"), claiming("narrow text", ".narrow"))
    path = tmp_path / "a.log"
    path.write_text("A")
    with pytest.raises(OpenError) as caught:
        detect(path, formats=formats)
    assert str(caught.value) == (
        f"{path}: the file reads as wide text and narrow text.\nGive it the suffix of its format."
    )
    path = path.rename(tmp_path / "a.NARROW")
    assert detect(path, formats=formats) is formats[1]
