"""A survey with a bench file of two buses."""

from pathlib import Path

import numpy as np
import pytest

from busprobe.analysis.presence import NOT_DUE
from busprobe.analysis.survey_result import BitRate
from busprobe.bench.load import load
from busprobe.errors import BenchError
from busprobe.frames import FrameBatch, StateBatch
from busprobe.recording.write import RecordingWriter
from busprobe.report.survey_json import survey_json
from busprobe.report.survey_text import way_text
from busprobe.session.enclosed import enclosed_texts
from busprobe.session.surveying import OF_RECORDING, survey

DATABASE = 'VERSION ""\n\nBU_: Van\n\nBO_ 256 {name}: 1 Van\n SG_ {signal} : 0|8@1+ (1,0) [0|255] "km/h" Van\n'
BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
bitrate = 125000
databases = ["body.dbc"]
[[bus]]
name = "drive"
recorded_as = ["can1"]
databases = ["drive.dbc"]
[obd]
bus = "drive"
poll = ["0D"]
every = "500 ms"
[signals]
door = { from = "body.Doors.Rear" }
speed = { from = ["drive.Wheels.Speed", "obd.0D"], max_age = "250 ms" }
"""


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "body.dbc").write_text(DATABASE.format(name="Doors", signal="Rear"))
    (tmp_path / "drive.dbc").write_text(DATABASE.format(name="Wheels", signal="Speed"))
    (tmp_path / "van.toml").write_text(BENCH)
    return tmp_path / "van.toml"


def log(folder: Path, channels: tuple[str, str]) -> Path:
    path = folder / "drive.log"
    lines = [f"({k * 0.02:.6f}) {channels[k % 2]} 100#{k:02X}\n" for k in range(60)]
    lines.append(f"(1.200000) {channels[1]} 7E8#03410D3C00000000\n")
    path.write_text("".join(lines))
    return path


def test_each_channel_is_named_by_its_own_bus(bench: Path, tmp_path: Path) -> None:
    report = survey(log(tmp_path, ("body", "can1")), bench, bit_rate=500_000)
    assert [(one.channel, one.message) for one in report.result.identifiers] == [
        ("body", "Doors"), ("can1", "Wheels"), ("can1", None),
    ]  # fmt: skip
    assert report.bit_rates == {"body": BitRate(125_000), "can1": BitRate(500_000)}
    assert [(one.tap, one.presence.value, one.count, one.max_age_ns) for one in report.signals] == [
        ("body.Doors.Rear", "present", 30, None),
        ("drive.Wheels.Speed", "present", 30, 250_000_000),
        ("obd.0D", "present", 1, 250_000_000),
    ]
    assert report.signals[2].proposed_ns == 1_500_000_000


def test_a_channel_that_matches_no_bus_is_refused(bench: Path, tmp_path: Path) -> None:
    with pytest.raises(BenchError, match='Channel "can7" of the recording matches no bus'):
        survey(log(tmp_path, ("body", "can7")), bench)


def test_faults_of_a_database_are_reported(tmp_path: Path) -> None:
    database = tmp_path / "van.dbc"
    database.write_text(DATABASE.format(name="Doors", signal="Rear") + ' SG_ Past : 60|8@1+ (1,0) [0|0] "" Van\n')
    report = survey(log(tmp_path, ("a", "b")), databases=[database])
    assert len(report.faults) == 1
    assert report.faults[0].path == database
    assert report.result.identifiers[0].message == "Doors"


ROLES = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
databases = ["roles.dbc"]
[signals]
rear_door = { from = "body.Doors.Rear", role = "door" }
side_door = { from = "body.Doors.Side", role = "door" }
tail_lift = { from = "body.TailLift.Down", role = "tail lift" }
gear = { from = "body.Transmission.Gear", role = "gear" }
hood = { from = ["body.Hood.Open", "body.Doors.Hood"], role = "hood" }
"""
ROLES_DBC = """\
VERSION ""

BU_: Van

BO_ 256 Doors: 2 Van
 SG_ Rear : 1|1@1+ (1,0) [0|1] "" Van
 SG_ Side : 7|2@0+ (1,0) [0|3] "" Van
 SG_ Hood : 12|1@1+ (1,0) [0|1] "" Van

BO_ 512 TailLift: 1 Van
 SG_ Down : 0|1@1+ (1,0) [0|1] "" Van

BO_ 513 Hood: 1 Van
 SG_ Open : 0|1@1+ (1,0) [0|1] "" Van

BO_ 768 Transmission: 1 Van
 SG_ Gear : 0|4@1+ (1,0) [0|15] "" Van

BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
BA_ "GenMsgCycleTime" BO_ 768 100;
"""


def test_a_role_whose_message_was_not_due_is_to_be_operated(tmp_path: Path) -> None:
    """The rear door was opened, the side door not; the tail lift says something only when it is moved."""
    (tmp_path / "roles.toml").write_text(ROLES)
    (tmp_path / "roles.dbc").write_text(ROLES_DBC)
    drive = tmp_path / "drive.log"
    drive.write_text("".join(f"({k}.000000) body 100#{2 * (k > 3):02X}00\n" for k in range(6)))
    report = survey(drive, tmp_path / "roles.toml")
    unseen = "not seen: operate it, else needs a wire"
    assert [(one.signal, way_text(one), one.tap) for one in report.roles] == [
        ("rear_door", "on the bus", "body.Doors.Rear"),
        ("side_door", "on the bus, unchanged: operate it", "body.Doors.Side"),
        ("tail_lift", unseen, "body.TailLift.Down"),
        ("gear", "needs a wire", "body.Transmission.Gear"),
        ("hood", "on the bus, unchanged: operate it", "body.Doors.Hood"),
    ]
    told = survey_json(report)
    assert isinstance(told, dict)
    roles = told["roles"]
    assert isinstance(roles, list)
    assert [(one["way"], one["changed"]) for one in roles] == [
        ("on the bus", True), ("on the bus", False), (unseen, None), ("needs a wire", None), ("on the bus", False),
    ]  # fmt: skip
    assert [one.note for one in report.signals] == ["", "", NOT_DUE, "", NOT_DUE, ""]


def test_a_recording_brings_its_bench_file(bench: Path, tmp_path: Path) -> None:
    """Bit rates, names and signals are known without --bench; with --database they are not asked for."""
    loaded = load(bench)
    paths = {path for bus in loaded.buses for path in bus.databases}
    texts = enclosed_texts(loaded, {path: path.read_text(encoding="utf-8") for path in paths})
    batch = FrameBatch(
        np.arange(50) * 20_000_000 + 1_768_374_000_000_000_000, tuple(bus.name for bus in loaded.buses),
        np.arange(50, dtype=np.uint8) % 2, np.full(50, 256, np.uint32), np.zeros(50, np.uint8),
        np.full(50, 8, np.uint8), np.zeros(50, np.uint64),
    )  # fmt: skip
    path = tmp_path / "own.duckdb"
    with RecordingWriter(path, about={}, bench=texts) as writer:
        writer.add(batch)
    report, given = survey(path), survey(path, bench)
    assert report.vehicle == given.vehicle != ""
    assert report.bit_rates == given.bit_rates
    assert report.signals == given.signals
    assert [one.message for one in report.result.identifiers] == [one.message for one in given.result.identifiers]
    assert report.notes == (*given.notes, OF_RECORDING)
    assert survey(path, databases=sorted(paths)).vehicle == ""


def test_a_bench_file_in_a_recording_that_cannot_be_used_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "own.duckdb"
    with RecordingWriter(path, about={"start_ns": "1"}, bench={"van.toml": "[vehicle]\n"}) as writer:
        writer.add(StateBatch((), 2))
    assert survey(path).vehicle == ""
