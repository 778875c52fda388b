"""Samples written as CSV and Parquet."""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np
import pytest

from busprobe.errors import OpenError
from busprobe.recording import export
from busprobe.recording.export import RawArray, SampleWriter

GEAR = {0: "Park", 1: "Reverse", 15: "Not available"}


def add(
    writer: SampleWriter,
    signal: str,
    t_s: list[float],
    raw: RawArray | list[int],
    *,
    scale: float = 1.0,
    labels: dict[int, str] | None = None,
    unit: str | None = None,
) -> None:
    array = np.array(raw, np.int64) if isinstance(raw, list) else raw
    writer.add(
        t_s=np.array(t_s), channel="body", message="Status", signal=signal, raw=array, value=array * scale,
        labels=labels, unit=unit,
    )  # fmt: skip


def rows_of(path: Path) -> list[tuple[object, ...]]:
    with duckdb.connect() as con:
        return con.execute(f"SELECT * FROM '{path}'").fetchall()


def test_csv_text(tmp_path: Path) -> None:
    path = tmp_path / "samples.csv"
    with SampleWriter(path) as writer:
        add(writer, "SelectedGear", [0.0, 0.5, 1.25], [0, 1, 7], labels=GEAR)
        add(writer, "VehicleSpeed", [0.25], [1234], scale=0.01, unit="km/h")
        add(writer, "Nothing", [], [])
    assert path.read_text() == (
        "time_s,channel,message,signal,raw,value,label,unit\n"
        "0.0,body,Status,SelectedGear,0,0.0,Park,\n"
        "0.5,body,Status,SelectedGear,1,1.0,Reverse,\n"
        "1.25,body,Status,SelectedGear,7,7.0,,\n"
        "0.25,body,Status,VehicleSpeed,1234,12.34,,km/h\n"
    )


def test_parquet_rows_and_types(tmp_path: Path) -> None:
    path = tmp_path / "samples.parquet"
    with SampleWriter(path) as writer:
        add(writer, "SelectedGear", [0.0, 0.5], [-1, 15], labels={-1: "Shifting", **GEAR})
        add(writer, "OilTemperature", [0.25], [90], unit="degC")
    assert rows_of(path) == [
        (0.0, "body", "Status", "SelectedGear", -1, -1.0, "Shifting", None),
        (0.5, "body", "Status", "SelectedGear", 15, 15.0, "Not available", None),
        (0.25, "body", "Status", "OilTemperature", 90, 90.0, None, "degC"),
    ]
    with duckdb.connect() as con:
        found = con.execute(f"SELECT column_name, column_type FROM (DESCRIBE FROM '{path}')").fetchall()
    assert dict(found) == {
        "time_s": "DOUBLE", "channel": "VARCHAR", "message": "VARCHAR", "signal": "VARCHAR",
        "raw": "BIGINT", "value": "DOUBLE", "label": "VARCHAR", "unit": "VARCHAR",
    }  # fmt: skip


WIDE = np.array([0, (1 << 64) - 1], np.uint64)
REAL = np.array([0.1, -2.5])


@pytest.mark.parametrize(
    ("raws", "kind", "expected"),
    [
        pytest.param([np.array([3], np.uint64), np.array([-4])], "BIGINT", [3, -4], id="fits_int64"),
        pytest.param([WIDE, np.array([-4])], "DECIMAL(20,0)", [0, (1 << 64) - 1, -4], id="all_64_bits"),
        pytest.param([np.array([3]), REAL], "DOUBLE", [3.0, 0.1, -2.5], id="floating_point"),
        pytest.param([WIDE, REAL], "DOUBLE", [0.0, float(1 << 64), 0.1, -2.5], id="both"),
    ],
)
def test_type_of_raw_in_parquet(tmp_path: Path, raws: list[RawArray], kind: str, expected: list[float]) -> None:
    path = tmp_path / "samples.parquet"
    with SampleWriter(path) as writer:
        for k, raw in enumerate(raws):
            add(writer, f"S{k}", [0.0] * len(raw), raw)
    with duckdb.connect() as con:
        found = con.execute(f"SELECT raw, typeof(raw) FROM '{path}'").fetchall()
    assert [raw for raw, _ in found] == expected
    assert {name for _, name in found} == {kind}


def test_raw_in_csv_is_exact_whatever_else_there_is(tmp_path: Path) -> None:
    path = tmp_path / "samples.csv"
    with SampleWriter(path) as writer:
        add(writer, "A", [0.0, 0.0], WIDE)
        add(writer, "B", [0.0, 0.0], REAL)
        add(writer, "C", [0.0], [-7])
    raws = [line.split(",")[4] for line in path.read_text().splitlines()[1:]]
    assert raws == ["0", "18446744073709551615", "0.1", "-2.5", "-7"]


def test_labels_of_large_and_floating_raw_values(tmp_path: Path) -> None:
    path = tmp_path / "samples.parquet"
    with SampleWriter(path) as writer:
        add(writer, "A", [0.0, 0.0], WIDE, labels={(1 << 64) - 1: "Not available", 0: "Off"})
        add(writer, "B", [0.0, 0.0], np.array([1.0, 1.5]), labels={1: "One"})
    assert [row[6] for row in rows_of(path)] == ["Off", "Not available", "One", None]


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_no_samples(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"samples{suffix}"
    with SampleWriter(path):
        pass
    assert rows_of(path) == []


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_order_is_kept_over_blocks_and_tables(tmp_path: Path, suffix: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows stand as added, whether they wait as arrays or in a table, with and without floats."""
    monkeypatch.setattr(export, "BLOCK_ROWS", 60_000)
    monkeypatch.setattr(export, "HELD_BLOCKS", 3)
    path = tmp_path / f"samples{suffix}"
    added = []
    with SampleWriter(path) as writer:
        for k in range(40):
            t = (np.arange(20_000) * 0.001 + k).tolist()
            raw = np.arange(20_000) + k
            add(writer, f"S{k % 7}", t, raw + 0.5 if k > 20 and k % 7 == 3 else raw)
            added += [(time, f"S{k % 7}") for time in t]
    with duckdb.connect() as con:
        found = con.execute(f"SELECT time_s, signal FROM '{path}'").fetchall()
    assert found == added
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_nothing_is_left_after_an_error(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), SampleWriter(tmp_path / "samples.csv") as writer:
        add(writer, "A", [0.0], [1 // len([])])
    assert list(tmp_path.iterdir()) == []


MESSAGES = {
    "suffix": (
        "samples.txt",
        'Samples are written as ".csv" or ".parquet", not as ".txt".\nName a file with one of these endings.',
    ),
    "no_suffix": (
        "samples",
        'Samples are written as ".csv" or ".parquet", not as "".\nName a file with one of these endings.',
    ),
    "no_folder": ("gone/samples.csv", "The folder to write to does not exist.\nMake the folder first."),
}


@pytest.mark.parametrize("case", MESSAGES)
def test_message(case: str, tmp_path: Path) -> None:
    name, text = MESSAGES[case]
    with pytest.raises(OpenError) as caught:
        SampleWriter(tmp_path / name)
    assert str(caught.value) == f"{tmp_path / name}: {text}"
