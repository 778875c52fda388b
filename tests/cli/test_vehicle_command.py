"""`busprobe vehicle`: text, files, refusals, exit status."""

import json
from pathlib import Path

import pytest

DRIVE = """\
(1768374000.000000) can0 7E8#0643020301C10000
(1768374000.100000) can0 7E8#0641010207610000
(1768374000.200000) can0 7E8#044142319C000000
"""
LIVE_BENCH = '[vehicle]\nname = "van"\n[[bus]]\nname = "body"\ninterface = "virtual"\nchannel = "nobody"\n'


@pytest.fixture
def drives(folder: Path) -> Path:
    (folder / "drive.log").write_text(DRIVE)
    (folder / "live.toml").write_text(LIVE_BENCH)
    return folder


def test_a_recording(busprobe, drives) -> None:
    said = busprobe("vehicle drive.log --bench van.toml --json out.json")
    assert said.status == 0
    assert "Roads patrol van 12" in said.out
    assert "P0301 U0100" in said.out
    assert "emission-related trouble codes only" in said.out
    report = json.loads(Path("out.json").read_text())
    assert report["control_units"][0]["codes"]["stored"] == ["P0301", "U0100"]


WHOLE = (
    DRIVE
    + """\
(1768374000.300000) can0 7E8#0247000000000000
(1768374000.400000) can0 7E8#024A000000000000
(1768374000.500000) can0 7DF#0209020000000000
"""
)


def test_saved_and_compared(busprobe, drives) -> None:
    Path("drive.log").write_text(WHOLE)
    saved = busprobe("vehicle drive.log --save before.json")
    assert (saved.status, saved.err) == (
        0, "Saved in before.json.\nThe saved reading is incomplete:\n  all  VIN (09 02): no answer\n",
    )  # fmt: skip
    same = busprobe("vehicle drive.log --against before.json")
    assert (same.status, "No change in codes, lamp, readiness and PIDs." in same.out) == (0, True)
    Path("drive.log").write_text(WHOLE.replace("0643020301C10000", "0643020301043000"))
    changed = busprobe("vehicle drive.log --against before.json")
    assert changed.status == 1
    assert "stored code P0430" in changed.out
    assert "Compared with before.json" in changed.out


def test_an_incomplete_baseline_is_told_and_proves_nothing(busprobe, drives) -> None:
    Path("empty.log").write_text("(1768374000.000000) can0 7DF#0201420000000000\n" + DRIVE.splitlines()[-1] + "\n")
    saved = busprobe("vehicle empty.log --save before.json")
    assert saved.status == 0
    assert saved.err.startswith("Saved in before.json.\nThe saved reading is incomplete:\n  7E8  stored codes (03),")
    Path("drive.log").write_text(WHOLE)
    said = busprobe("vehicle drive.log --against before.json --json out.json")
    assert said.status == 2
    assert "Could not be compared: VIN, stored codes (7E8), pending codes (7E8), permanent codes (7E8)," in said.out
    report = json.loads(Path("out.json").read_text())
    assert (report["exit_status"], report["missing"]) == (2, {"VIN": "no answer"})


def test_a_saved_reading_is_not_overwritten(busprobe, drives) -> None:
    Path("before.json").write_text("{}")
    said = busprobe("vehicle drive.log --save before.json")
    assert (said.status, said.err) == (3, "before.json: this file is there already.\nGive --save another name.\n")
    assert Path("before.json").read_text() == "{}"


def test_a_wrong_file_is_told_before_anything_is_read(busprobe, drives) -> None:
    said = busprobe("vehicle live --bench live.toml --allow-requests --against van.toml")
    assert said.status == 3
    assert said.err.startswith("van.toml, line 1: this is no JSON: ")
    assert "Before you start" not in said.err


def test_a_listen_only_bus_is_refused(busprobe, drives) -> None:
    said = busprobe("vehicle live --bench live.toml --allow-requests")
    assert said.status == 3
    assert said.err.startswith('live.toml, line 3: The bus "body" is listen-only: nothing is ever sent on it.\n')


def test_cautions_come_before_the_bus_is_opened(busprobe, drives) -> None:
    bench = LIVE_BENCH.replace('"virtual"', '"slcan"').replace('"nobody"', '"nowhere-port"') + "listen_only = false\n"
    Path("live.toml").write_text(bench)
    said = busprobe("vehicle live --bench live.toml --allow-requests")
    assert said.status == 3
    assert said.err.startswith("Before you start:\n")
    assert 'Bus "body"' in said.err


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("vehicle live", '"live" needs --bench: it names the bus.'),
        ("vehicle drive.log --allow-requests", '--allow-requests goes with "live", not with a recording.'),
    ],
    ids=["no bench file", "requests to a recording"],
)
def test_command_lines_that_make_no_sense(busprobe, drives, line, message) -> None:
    said = busprobe(line)
    assert said.status == 3
    assert message in said.err
