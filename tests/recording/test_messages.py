"""What a person reads when a recording cannot be opened or made: the exact texts."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pytest

from busprobe.errors import BusprobeError, FormatError, OpenError
from busprobe.recording.read import looks_like, open_recording
from busprobe.recording.trouble import explain
from busprobe.recording.write import RecordingWriter


def _recorded(path: Path) -> Path:
    RecordingWriter(path, about={}, bench={}).close()
    return path


def _folder(path: Path) -> None:
    path.mkdir()


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _junk(path: Path) -> None:
    path.write_bytes(b"(1764000000.000000) can0 123#00\n" * 400)


def _without(*tables: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        _recorded(path)
        with duckdb.connect(str(path)) as con:
            for table in tables:
                con.execute(f"DROP TABLE {table}")

    return make


def _other_database(path: Path) -> None:
    with duckdb.connect(str(path)) as con:
        con.execute("CREATE TABLE trips (day DATE)")


def _format(number: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        _recorded(path)
        with duckdb.connect(str(path)) as con:
            con.execute("UPDATE about SET value = ? WHERE key = 'format'", [number])

    return make


def _newer_storage(path: Path) -> None:
    """Raises the version number in the main header, and mends the header's checksum.

    The header is checksum, "DUCK", version, from DuckDB's page on its storage format; that the
    checksum is an exclusive or of the words times a constant is from memory, and holds for the
    files that DuckDB writes here.
    """
    words = np.frombuffer(_recorded(path).read_bytes(), np.uint64).copy()
    words.view(np.uint8)[12:20] = np.frombuffer((999).to_bytes(8, "little"), np.uint8)
    words[0] = np.bitwise_xor.reduce(words[1:512] * np.uint64(0xBF58476D1CE4E5B9)) ^ np.uint64(5381)
    path.write_bytes(words.tobytes())


def _cut(path: Path) -> None:
    path.write_bytes(_recorded(path).read_bytes()[:5000])


BAD = {
    "missing": (lambda path: None, "The file does not exist.\nCheck the name and the folder."),
    "folder": (_folder, "This is a folder.\nName a recording in it."),
    "empty": (_empty, "The file is empty.\nChoose another recording."),
    "junk": (
        _junk,
        "The file is not a DuckDB database.\nChoose a recording, or a log in one of the formats that busprobe reads.",
    ),
    "one_table_missing": (
        _without("inputs"),
        'The DuckDB file is no busprobe recording: table "inputs" is missing.\nChoose a file that busprobe recorded.',
    ),
    "other_database": (
        _other_database,
        (
            'The DuckDB file is no busprobe recording: tables "frames", "inputs", "states", "events", "channels", '
            '"about" and "bench" are missing.\nChoose a file that busprobe recorded.'
        ),
    ),
    "newer_busprobe": (
        _format("2"),
        'The recording has format "2"; this busprobe reads up to "1".\nInstall a newer busprobe.',
    ),
    "newer_storage": (
        _newer_storage,
        (
            f'The file was written in a storage version that DuckDB "{duckdb.__version__}" does not know.\n'
            "Install a newer DuckDB: pip install --upgrade duckdb."
        ),
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_open_error(case: str, tmp_path: Path) -> None:
    make, text = BAD[case]
    path = tmp_path / "van.duckdb"
    make(path)
    with pytest.raises(OpenError) as caught:
        open_recording(path)
    assert str(caught.value) == f"{path}: {text}"
    assert caught.value.path == path


def test_cut_file_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "cut.duckdb"
    _cut(path)
    with pytest.raises(FormatError) as caught:
        open_recording(path)
    size = path.stat().st_size
    assert caught.value.message == (
        f"The recording is cut short: of it only {size:,} bytes can be read. What tells where its tables are is lost, "
        "so nothing in it can be read."
    )
    assert caught.value.hint == "Use another copy of it."


def test_format_that_is_no_number(tmp_path: Path) -> None:
    path = tmp_path / "van.duckdb"
    _format("two")(path)
    with pytest.raises(FormatError) as caught:
        open_recording(path)
    assert str(caught.value) == f'{path}: The recording has the format number "two", which is none.'


HOLDER = """
import sys
from pathlib import Path
from busprobe.recording.write import RecordingWriter
with RecordingWriter(Path(sys.argv[1]), about={}, bench={}):
    print("holding", flush=True)
    sys.stdin.readline()
"""


def test_in_use_by_another_process(tmp_path: Path) -> None:
    path = tmp_path / "van.duckdb"
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "holding\n"
        with pytest.raises(OpenError) as caught:
            open_recording(path)
        holder.communicate("\n")
    who = "another process" if sys.platform == "win32" else f"process {holder.pid}"
    assert str(caught.value) == (
        f"{path}: The recording is in use by {who}.\n"
        "Close it there first: while a recording is written, no other reader can have it."
    )
    open_recording(path).close()


def test_in_use_by_this_process(tmp_path: Path) -> None:
    path = tmp_path / "van.duckdb"
    with RecordingWriter(path, about={}, bench={}), pytest.raises(OpenError) as caught:
        open_recording(path)
    assert caught.value.message == "The recording is in use by this process."


OTHER_ERRORS = {
    "windows": (
        (
            'IO Error: Cannot open file "van.duckdb": The process cannot access the file because it is being used by '
            "another process.\n"
        ),
        (
            "van.duckdb: The recording is in use by another process.\n"
            "Close it there first: while a recording is written, no other reader can have it."
        ),
    ),
    "permission": (
        'IO Error: Cannot open file "van.duckdb": Permission denied',
        (
            "van.duckdb: DuckDB says \"IO Error: Cannot open file 'van.duckdb': Permission denied\".\n"
            "Choose another file or mend what it names."
        ),
    ),
    "damaged": (
        "Corrupt database file: computed checksum 1 does not match stored checksum 2 in block at location 0",
        (
            'van.duckdb: The recording is damaged: DuckDB says "Corrupt database file: computed checksum 1 does not '
            'match stored checksum 2 in block at location 0".\nUse another copy of it.'
        ),
    ),
}


@pytest.mark.parametrize("case", OTHER_ERRORS)
def test_text_for_an_error_of_duckdb(case: str) -> None:
    text, expected = OTHER_ERRORS[case]
    assert str(explain(duckdb.Error(text), Path("van.duckdb"))) == expected


def test_recording_twice_under_one_name(tmp_path: Path) -> None:
    path = _recorded(tmp_path / "van.duckdb")
    with pytest.raises(OpenError) as caught:
        RecordingWriter(path, about={}, bench={})
    assert str(caught.value) == f"{path}: The file is there already.\nChoose another name, or remove it first."
    RecordingWriter(path, about={"vehicle": "new"}, bench={}, overwrite=True).close()
    with open_recording(path) as recording:
        assert recording.about["vehicle"] == "new"


def test_log_of_an_earlier_recording_is_not_taken_over(tmp_path: Path) -> None:
    path = tmp_path / "van.duckdb"
    wal = tmp_path / "van.duckdb.wal"
    wal.write_bytes(b"left over")
    with pytest.raises(OpenError) as caught:
        RecordingWriter(path, about={}, bench={})
    assert str(caught.value) == f"{wal}: The file is there already.\nChoose another name, or remove it first."


PLACES = {
    "no_folder": ("gone/van.duckdb", "The folder to record in does not exist.\nMake the folder first."),
    "a_folder": ("", "This is a folder.\nName a file in it to record to."),
}


@pytest.mark.parametrize("case", PLACES)
def test_recording_to_a_wrong_place(case: str, tmp_path: Path) -> None:
    name, text = PLACES[case]
    path = tmp_path / name
    with pytest.raises(BusprobeError) as caught:
        RecordingWriter(path, about={}, bench={})
    assert str(caught.value) == f"{path}: {text}"


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        pytest.param(bytes(8) + b"DUCK" + bytes(52), True, id="duckdb"),
        pytest.param(b"DUCK" + bytes(60), False, id="word_in_another_place"),
        pytest.param(b"", False, id="empty"),
        pytest.param(bytes(8) + b"DUC", False, id="cut"),
        pytest.param(b"(1764000000.000000) can0 123#00", False, id="text"),
    ],
)
def test_looks_like(head: bytes, expected: bool) -> None:
    assert looks_like(head) is expected


def test_looks_like_what_is_written(tmp_path: Path) -> None:
    assert looks_like(_recorded(tmp_path / "van.duckdb").read_bytes()[:4096])


def test_an_empty_recording_without_its_log_names_the_log(tmp_path: Path) -> None:
    path = tmp_path / "kill.duckdb"
    duckdb.connect(str(path)).close()
    with pytest.raises(OpenError) as caught:
        open_recording(path)
    assert str(caught.value) == (
        f'{path}: The file is empty, and "kill.duckdb.wal" is not beside it: that log holds what was recorded.\n'
        "Copy kill.duckdb.wal too, and keep both together."
    )
