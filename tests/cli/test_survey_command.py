"""`busprobe survey`: text, JSON, options."""

import json
from pathlib import Path


def test_with_a_bench_file(busprobe) -> None:
    said = busprobe("survey good.log --bench van.toml --json out.json")
    assert said.status == 0
    assert "Roads patrol van 12" in said.out
    report = json.loads(Path("out.json").read_text())
    assert [(one["hex"], one["message"], one["sending"], one["period_ms"]) for one in report["identifiers"]] == [
        ("100", "Transmission", "cyclic", 20.0),
        ("200", "Lamps", "cyclic", 20.0),
    ]
    assert [(one["signal"], one["state"], one["proposed_max_age_ms"]) for one in report["signals"]] == [
        ("gear", "present", 100.0),
        ("rear_white", "present", 100.0),
    ]
    (channel,) = report["channels"]
    assert channel["bitrate"] == 500_000
    assert 0.005 < channel["load"] < 0.02
    assert channel["decoded_share"] == 1.0


def test_a_missing_signal_and_another_vehicle(busprobe, folder: Path) -> None:
    (folder / "half.log").write_text("".join(x for x in (folder / "good.log").open() if " 200#" not in x))
    said = busprobe("survey half.log --bench van.toml")
    assert "1 present, 1 missing." in said.out
    (folder / "other.log").write_text((folder / "half.log").read_text().replace(" 100#", " 300#"))
    said = busprobe("survey other.log --bench van.toml")
    assert said.status == 0
    assert "None of the bench file's signals is in this recording: is it of another vehicle?" in said.out


def test_with_databases_and_a_bit_rate(busprobe, folder: Path) -> None:
    (folder / "more.dbc").write_text(
        'VERSION ""\n\nBU_: Van\n\nBO_ 768 Extra: 1 Van\n SG_ X : 0|8@1+ (1,0) [0|0] "" Van\n'
    )
    for line in (
        "survey good.log --database van.dbc more.dbc --bitrate 500000",
        "survey --bitrate 500000 --database more.dbc --database van.dbc good.log",
    ):
        said = busprobe(line)
        assert said.status == 0
        assert "Transmission" in said.out
        assert "100.0 %" in said.out


def test_alone(busprobe) -> None:
    said = busprobe("survey good.log")
    assert said.status == 0
    assert "No bus load: the bit rate is not known. --bitrate N gives it." in said.out


def test_bench_and_database_together_are_refused(busprobe) -> None:
    said = busprobe("survey good.log --bench van.toml --database van.dbc")
    assert said.status == 3
    assert "--bench names its own databases: give --bench or --database, not both." in said.err


def test_obd_traffic(busprobe, folder: Path) -> None:
    lines = []
    for k, speed in enumerate((30, 10, 50)):
        lines.append(f"({k + 1}.000000) can0 7DF#02010D0000000000\n")
        lines.append(f"({k + 1}.010000) can0 7E8#03410D{speed:02X}00000000\n")
    (folder / "obd.log").write_text("".join(lines))
    said = busprobe("survey obd.log --json out.json")
    assert "Another tester asks on can0 as 7DF: 3 requests" in said.out
    (pid,) = json.loads(Path("out.json").read_text())["obd"]["pids"]
    assert (pid["control_unit"], pid["pid"], pid["count"], pid["unit"]) == ("7E8", "0D", 3, "km/h")
    assert (pid["first"], pid["last"], pid["least"], pid["greatest"]) == (30, 50, 10, 50)
