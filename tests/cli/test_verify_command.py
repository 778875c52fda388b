"""`busprobe verify`: exit status, text, JSON, messages."""

import json
from pathlib import Path

import pytest

STATUS = [
    ("good.log", 0, "pass"),
    ("late.log", 1, "fail"),
    ("lost.log", 2, "undecided"),
    ("parked.log", 2, "not exercised"),
]


@pytest.mark.parametrize(("log", "status", "verdict"), STATUS, ids=[row[2] for row in STATUS])
def test_exit_status_and_verdict(busprobe, log: str, status: int, verdict: str) -> None:
    said = busprobe(f"verify {log} --bench van.toml --json out.json")
    assert said.status == status
    assert f"1 check: 1 {verdict}." in said.out
    report = json.loads(Path("out.json").read_text())
    assert [check["verdict"] for check in report["checks"]] == [verdict]
    assert report["exit_status"] == status


def test_the_json_tells_latency_and_triggers(busprobe) -> None:
    busprobe("verify good.log --bench van.toml --json out.json")
    report = json.loads(Path("out.json").read_text())
    (one,) = report["checks"][0]["occurrences"]
    assert (one["t_s"], one["outcome"], one["latency_ms"]) == (2.0, "passed", 100.0)
    assert one["decided_ns"] == one["t_ns"] + 100_000_000
    (entry,) = report["triggers"]
    assert (entry["name"], entry["t_s"], entry["signals"]["gear"]) == ("Reverse selected", 2.0, "Reverse")


def test_a_failed_occurrence_is_told_with_its_signals(busprobe) -> None:
    said = busprobe("verify late.log --bench van.toml")
    assert "Rear white lamp follows reverse: fail" in said.out
    assert "gear Reverse, rear_white 0" in said.out


def test_problems_come_after_the_table_first_ten_and_a_count(busprobe, folder: Path) -> None:
    text = (folder / "good.log").read_text().splitlines(keepends=True)
    text[3:3] = ["(1768374000.020000) can0 100#A4G\n"] * 12
    (folder / "good.log").write_text("".join(text))
    said = busprobe("verify good.log --bench van.toml")
    assert said.status == 0
    lines = said.err.splitlines()
    assert sum("good.log, line " in line for line in lines) == 10
    assert lines[-1] == "12 problems in reading, 2 more not shown."
    strict = busprobe("verify good.log --bench van.toml --strict")
    assert strict.status == 3
    assert "good.log, line 4: " in strict.err
    assert strict.err.endswith("Stopped here because of --strict.\n")


UNUSABLE = [
    ("no such recording", "verify none.log --bench van.toml", "none.log: there is no such file."),
    ("no such bench file", "verify good.log --bench none.toml", "none.toml: There is no such bench file."),
    ("no bench file named", "verify good.log", "Missing option '--bench'"),
    ("unknown command", "prove good.log", "No such command 'prove'."),
    ("mistyped command", "verfy good.log", "No such command 'verfy'. Nearest known name: \"verify\"."),
    ("unknown option", "verify good.log --bench van.toml --fast", "No such option"),
    ("JSON cannot be written", "verify good.log --bench van.toml --json none/out.json",
     "none/out.json: The folder to write to does not exist.\nMake the folder first."),
]  # fmt: skip


@pytest.mark.parametrize(("line", "message"), [row[1:] for row in UNUSABLE], ids=[row[0] for row in UNUSABLE])
def test_what_cannot_be_used_ends_with_3(busprobe, line: str, message: str) -> None:
    said = busprobe(line)
    assert said.status == 3
    assert message in said.err
    assert "Traceback" not in said.err


def test_a_recording_of_another_vehicle_is_refused(busprobe, folder: Path) -> None:
    (folder / "other.log").write_text(
        (folder / "good.log").read_text().replace(" 100#", " 300#").replace(" 200#", " 301#")
    )
    said = busprobe("verify other.log --bench van.toml")
    assert said.status == 3
    assert "none of the messages that van.toml asks for is in this recording (Transmission, Lamps)." in said.err


def test_what_was_never_known_is_not_to_be_operated(busprobe, folder: Path) -> None:
    """The gear was not heard at all, so nobody can say whether reverse was selected."""
    heard = [line for line in (folder / "parked.log").read_text().splitlines(True) if " 100#" not in line]
    (folder / "unheard.log").write_text("".join(heard))
    said = busprobe("verify unheard.log --bench van.toml")
    assert said.status == 2
    assert "\"gear == 'Reverse'\" was never known: nothing came from what it is made of." in said.out
    assert "operate it" not in said.out
    assert "\"gear == 'Reverse'\" never became true: operate it." in busprobe("verify parked.log --bench van.toml").out


def test_a_stretch_of_given_that_was_never_known(busprobe, folder: Path) -> None:
    heard = [line for line in (folder / "parked.log").read_text().splitlines(True) if " 100#" not in line]
    (folder / "unheard.log").write_text("".join(heard))
    never = '[[check]]\nname = "Dark in reverse"\nnever = "rear_white"\ngiven = "gear == \'Reverse\'"\n'
    bench = (folder / "van.toml").read_text()
    (folder / "given.toml").write_text(bench.split("[[check]]")[0] + never)
    said = busprobe("verify unheard.log --bench given.toml")
    assert "\"gear == 'Reverse'\" was never known: nothing came from what it is made of." in said.out
