"""`verify` on real files: the same verdicts from every kind of recording, and what it says where it cannot."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import can
import numpy as np
import pytest

from busprobe.engine.engine import Engine
from busprobe.errors import BenchError, BusprobeError, OpenError
from busprobe.frames import Condition, FrameBatch, InputBatch, SourceState, StateBatch
from busprobe.recording.write import RecordingWriter
from busprobe.results import LogLine
from busprobe.session import verifying
from busprobe.session.verifying import VerifyReport, verify

DATABASE = Path(__file__).parents[1] / "engine" / "data" / "bench_van.dbc"
START_NS = 1_700_000_000_000_000_000
MS = 1_000_000

BENCH = f"""
[vehicle]
name = "Patrol van 12"
[[bus]]
name = "body"
databases = ["{DATABASE.as_posix()}"]
recorded_as = ["can0"]
[[inputs]]
name = "box"
driver = "text-lines"
port = "x"
period = "10 ms"
[[inputs.line]]
name = "lamp_wire"
number = 0
[signals]
gear = {{ from = "body.Transmission.SelectedGear", values = {{ Park = "P", Reverse = "R" }} }}
brake = {{ from = "body.Brake.PedalSwitch" }}
lamp = {{ from = "box.lamp_wire" }}
[[check]]
name = "Brake follows reverse"
when = "gear == 'R'"
expect = "brake"
within = "300 ms"
[[check]]
name = "Brake not for long"
never = "brake"
settle = "900 ms"
[[trigger]]
name = "Reverse"
on = "rises(gear == 'R')"
"""

LAMP_CHECK = """
[[check]]
name = "Lamp follows reverse"
when = "gear == 'R'"
expect = "lamp"
within = "300 ms"
"""


def drive() -> FrameBatch:
    """Gear and brake every 100 ms for 6 s; reverse at 1 s and at 3 s, the brake 200 and 400 ms after it."""
    rows = []
    for t in range(0, 6000, 100):
        gear = 1 if 1000 <= t < 2000 or 3000 <= t < 4000 else 0
        brake = 1 if 1200 <= t < 2000 or 3400 <= t < 4600 else 0
        rows += [(t, 256, gear), (t + 7, 272, brake)]
    return FrameBatch(
        START_NS + np.array([t for t, _, _ in rows], np.int64) * MS,
        ("can0",),
        np.zeros(len(rows), np.uint8),
        np.array([i for _, i, _ in rows], np.uint32),
        np.zeros(len(rows), np.uint8),
        np.array([2 if i == 256 else 1 for _, i, _ in rows], np.uint8),
        np.array([v for _, _, v in rows], np.uint64),
    )


def polls() -> InputBatch:
    """The lamp comes on 150 ms after the first reverse only."""
    t = np.arange(0, 6000, 10)
    return InputBatch("box", START_NS + t * MS, ((t >= 1150) & (t < 2050)).astype(np.uint64))


def bench_file(folder: Path, text: str = BENCH, name: str = "van.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def candump(folder: Path, batch: FrameBatch, name: str = "drive.log") -> Path:
    """Candump text, as python-can writes it."""
    path = folder / name
    writer = can.CanutilsLogWriter(path)
    for t, c, i, length, payload in zip(
        batch.t_ns.tolist(), batch.channel.tolist(), batch.identifier.tolist(), batch.length.tolist(),
        batch.payload.tolist(), strict=True,
    ):  # fmt: skip
        data = payload.to_bytes(8, "little")[:length]
        writer.on_message_received(
            can.Message(timestamp=t / 1e9, arbitration_id=i, is_extended_id=False, data=data, channel=batch.channels[c])
        )
    writer.stop()
    return path


def duckdb(folder: Path, *batches: FrameBatch | InputBatch | StateBatch, name: str = "drive.duckdb") -> Path:
    path = folder / name
    with RecordingWriter(path, about={"start_ns": str(START_NS)}, bench={}) as writer:
        for batch in batches:
            writer.add(batch)
    return path


def told(report: VerifyReport) -> list[str]:
    """Every occurrence in a line: check, ms since the start, outcome, when decided."""
    return [
        f"{c.name}: {(o.t_ns - report.start_ns) / MS:g} {o.outcome.value} @{(o.decided_ns - report.start_ns) / MS:g}"
        for c in report.checks
        for o in c.occurrences
    ]


DRIVE_TOLD = [
    "Brake follows reverse: 1000 passed @1207",
    "Brake follows reverse: 3000 failed @3300",
    "Brake not for long: 3407 failed @4307",
]

# The same verdicts from every kind of recording.


def test_a_candump_text(tmp_path: Path) -> None:
    report = verify(candump(tmp_path, drive()), bench_file(tmp_path))
    assert told(report) == DRIVE_TOLD
    assert [c.verdict.value for c in report.checks] == ["fail", "fail"]
    assert [(t.name, t.t_ns - START_NS) for t in report.triggers] == [("Reverse", 1000 * MS), ("Reverse", 3000 * MS)]
    assert (report.start_ns, report.end_ns) == (START_NS, START_NS + 5907 * MS)
    assert (report.vehicle, report.recording, report.frames) == ("Patrol van 12", "drive.log", 120)
    assert (report.problems.count, report.notes) == (0, ())


def test_the_same_drive_as_candump_text_and_as_a_recording(tmp_path: Path) -> None:
    """Verdicts, occurrences, triggers and log are the same; only how exact the stamps are may differ."""
    bench = bench_file(tmp_path)
    text, own = verify(candump(tmp_path, drive()), bench), verify(duckdb(tmp_path, drive()), bench)
    assert told(own) == told(text) == DRIVE_TOLD
    assert [c.verdict for c in own.checks] == [c.verdict for c in text.checks]
    assert own.triggers == text.triggers
    assert own.log == text.log
    assert (own.start_ns, own.end_ns, own.frames) == (text.start_ns, text.end_ns, text.frames)
    stamps = [o.uncertainty_ns for r in (text, own) for o in r.checks[0].occurrences if o.latency_ns is not None]
    assert stamps == [1000, 0], "a microsecond, the step of the stamps of both edges; no step stated in the recording"


@pytest.mark.parametrize("kind", ["log", "duckdb"])
def test_the_size_of_batches_changes_nothing(tmp_path: Path, kind: str) -> None:
    make = candump if kind == "log" else duckdb
    recording, bench = make(tmp_path, drive()), bench_file(tmp_path)
    whole = verify(recording, bench)
    for rows in (1, 2, 7, 64, 1000):
        assert replace(verify(recording, bench, batch_rows=rows), problems=whole.problems) == whole


def test_a_recording_with_input_lines_and_source_states(tmp_path: Path) -> None:
    """The box is down for the second reverse: that one is undecided."""
    box, t_ns = polls(), START_NS + np.array([2900, 4100], np.int64) * MS
    box = box.take((box.t_ns < t_ns[0]) | (box.t_ns >= t_ns[1]))
    states = [SourceState(int(t), "box", c) for t, c in zip(t_ns, (Condition.DOWN, Condition.UP), strict=True)]
    recording = duckdb(tmp_path, drive(), box, StateBatch(tuple(states)))
    report = verify(recording, bench_file(tmp_path, BENCH + LAMP_CHECK))
    lamp = [line for line in told(report) if line.startswith("Lamp")]
    assert lamp == ["Lamp follows reverse: 1000 passed @1150", "Lamp follows reverse: 3000 undecided @3300"]
    assert report.checks[2].occurrences[1].signals == {"gear": "R", "lamp": "unknown (box down)"}
    for size in (1, 16, 500):
        again = verify(recording, bench_file(tmp_path, BENCH + LAMP_CHECK), batch_rows=size)
        assert replace(again, problems=report.problems) == report


def test_rows_do_not_wait_for_the_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A recording is evaluated as it is read, one without source states too."""
    waiting = []

    class Watched(Engine):
        def advance(self) -> list[LogLine]:
            lines = super().advance()
            waiting.append(self.pending_rows)
            return lines

    monkeypatch.setattr(verifying, "Engine", Watched)
    monkeypatch.setattr(verifying, "BLOCK_ROWS", 10)
    for make in (candump, duckdb):
        waiting.clear()
        assert told(verify(make(tmp_path, drive()), bench_file(tmp_path), batch_rows=5)) == DRIVE_TOLD
        assert len(waiting) >= 5
        assert max(waiting) < 60


def test_damage_is_counted_and_the_rest_used(tmp_path: Path) -> None:
    recording = candump(tmp_path, drive())
    lines = recording.read_text().splitlines()
    recording.write_text("\n".join([*lines[:10], "garbage", *lines[10:]]) + "\n")
    report = verify(recording, bench_file(tmp_path))
    assert told(report) == DRIVE_TOLD
    assert report.problems.count == 1
    with pytest.raises(BusprobeError, match="garbage"):
        verify(recording, bench_file(tmp_path), strict=True)


def test_a_step_back_is_noted(tmp_path: Path) -> None:
    """Two logs joined in the wrong order, or one after the other with a clock that was set in between."""
    recording = candump(tmp_path, drive())
    recording.write_text(recording.read_text() * 2)
    report = verify(recording, bench_file(tmp_path))
    assert report.notes == ("The time stamps step back once: each time everything starts from unknown.",)
    assert len(report.triggers) == 4


def test_progress_runs_from_0_to_1(tmp_path: Path) -> None:
    shares: list[float] = []
    verify(candump(tmp_path, drive()), bench_file(tmp_path), progress=shares.append, batch_rows=10)
    assert shares == sorted(shares)
    assert shares[0] > 0
    assert shares[-1] == 1


# What it says where it cannot.


def refused(recording: Path, bench: Path) -> BusprobeError:
    with pytest.raises(BusprobeError) as caught:
        verify(recording, bench)
    return caught.value


def test_a_bench_file_of_another_vehicle(tmp_path: Path) -> None:
    batch = drive()
    other = replace(batch, identifier=batch.identifier + np.uint32(0x400))
    for recording in (candump(tmp_path, other), duckdb(tmp_path, other)):
        error = refused(recording, bench_file(tmp_path))
        assert isinstance(error, OpenError)
        assert str(error) == (
            f"{recording}: none of the messages that van.toml asks for is in this recording (Transmission, Brake).\n"
            "Is van.toml the bench file of this vehicle? busprobe survey shows what was recorded."
        )


NO_MESSAGE = 'Signal "gear": no message "{}" in the databases of bus "body" ({}).'
NO_SIGNAL = 'Signal "gear": no signal "{}" in message "Transmission". Nearest known name: "SelectedGear".'
NO_VALUE = 'Signal "gear": the database has no value "{}".'
WRONG_UNIT = 'Signal "brake": "km/h" cannot be turned into "degC".'
NO_PID = 'Signal "brake": "obd.FE" is no quantity of OBD service 01 known here.'

GEAR, BRAKE, REVERSE = "body.Transmission.SelectedGear", "body.Brake.PedalSwitch", 'Reverse = "R"'
NEAR_MESSAGE = NO_MESSAGE.format("Transmision", "bench_van.dbc") + ' Nearest known name: "Transmission".'
NEAR_VALUE = NO_VALUE.format("Revers") + ' Nearest known name: "Reverse".'

BENCH_FAULTS = [
    ("message not in the database", GEAR, "body.Transmision.SelectedGear", NEAR_MESSAGE),
    ("message like none", GEAR, "body.Xylophone.SelectedGear", NO_MESSAGE.format("Xylophone", "bench_van.dbc")),
    ("signal not in the message", GEAR, "body.Transmission.SelectedGears", NO_SIGNAL.format("SelectedGears")),
    ("label not in the database", REVERSE, 'Revers = "R"', NEAR_VALUE),
    ("label that says not available", REVERSE, '"Not available" = "X"', NO_VALUE.format("Not available")),
    ("no database", f'["{DATABASE.as_posix()}"]', "[]", NO_MESSAGE.format("Transmission", "none given")),
    ("a unit that does not fit", f'"{BRAKE}"', '"body.Wheels.Speed", unit = "degC"', WRONG_UNIT),
    ("no such PID", BRAKE, "obd.FE", NO_PID),
]


@pytest.mark.parametrize(("old", "new", "message"), [f[1:] for f in BENCH_FAULTS], ids=[f[0] for f in BENCH_FAULTS])
def test_a_signal_that_the_databases_do_not_have(tmp_path: Path, old: str, new: str, message: str) -> None:
    """Told with the line of the signal, before the recording is opened."""
    assert BENCH.count(old) == 1
    bench = bench_file(tmp_path, BENCH.replace(old, new))
    error = refused(tmp_path / "none.log", bench)
    line = next(n for n, text in enumerate(bench.read_text().splitlines(), 1) if text.startswith(message.split('"')[1]))
    assert isinstance(error, BenchError)
    assert str(error) == f"{bench}, line {line}: {message}"


def test_a_label_in_an_expression_that_the_database_does_not_have(tmp_path: Path) -> None:
    bench = bench_file(tmp_path, BENCH.replace("when = \"gear == 'R'\"", "when = \"gear == 'RR'\""))
    error = refused(tmp_path / "none.log", bench)
    assert isinstance(error, BenchError)
    assert (error.path, error.line, error.column) == (bench, 22, 17)
    assert error.message == '"gear" has no value named "RR". Nearest known name: "R".'


def test_a_channel_that_matches_no_bus(tmp_path: Path) -> None:
    rows = drive()
    two = replace(rows, channels=("can0", "can1"), channel=(rows.identifier == 272).astype(np.uint8))
    bench = bench_file(tmp_path)
    for recording in (candump(tmp_path, two), duckdb(tmp_path, two)):
        assert str(refused(recording, bench)) == (
            f'{bench}: Channel "can1" of the recording matches no bus. Channels recorded: "can0", "can1".'
            ' Buses here: "body".\nAdd recorded_as = ["can1"] to the [[bus]] that it is.'
        )


def test_a_recording_is_let_go_where_verify_stops(tmp_path: Path) -> None:
    """It may be removed or written to at once, however verify ended."""
    other = replace(drive(), channels=("can9",))
    bench = bench_file(tmp_path, BENCH + '[[bus]]\nname = "chassis"\n')
    recording = duckdb(tmp_path, other)
    error = refused(recording, bench)
    assert "matches no bus" in error.message
    with RecordingWriter(recording, about={}, bench={}, overwrite=True) as writer:
        writer.add(drive())
    assert verify(recording, bench_file(tmp_path)).frames == 120


def test_a_missing_recording(tmp_path: Path) -> None:
    candump(tmp_path, drive(), "drive.log")
    error = refused(tmp_path / "drve.log", bench_file(tmp_path))
    assert str(error) == (
        f"{tmp_path / 'drve.log'}: there is no such file.\n"
        'Check the name and the folder. Nearest known name: "drive.log".'
    )


def test_a_missing_bench_file(tmp_path: Path) -> None:
    error = refused(candump(tmp_path, drive()), tmp_path / "none.toml")
    assert str(error) == f"{tmp_path / 'none.toml'}: There is no such bench file.\nCheck the name and the folder."


def test_a_missing_database(tmp_path: Path) -> None:
    bench = bench_file(tmp_path, BENCH.replace("bench_van.dbc", "bench_vam.dbc"))
    error = refused(candump(tmp_path, drive()), bench)
    assert str(error) == (
        f"{DATABASE.parent / 'bench_vam.dbc'}: There is no such database file.\n"
        'Check the name and the folder. Nearest known name: "bench_van.dbc".'
    )


def test_neither_a_log_nor_a_recording(tmp_path: Path) -> None:
    path = tmp_path / "junk.log"
    path.write_bytes(bytes(range(256)) * 8)
    error = refused(path, bench_file(tmp_path))
    assert isinstance(error, OpenError)
    assert error.message == (
        'this is not a recording that busprobe can read: it starts with "\\x00\\x01\\x02\\x03\\x04\\x05\\x06\\x07".'
    )
    assert (error.hint or "").endswith("busprobe recording (.duckdb).")


HOLD = """
import sys
from pathlib import Path
from busprobe.recording.write import RecordingWriter
writer = RecordingWriter(Path(sys.argv[1]), about={}, bench={})
writer.commit()
print("open", flush=True)
sys.stdin.read()
"""


def test_a_recording_in_use_by_another_process(tmp_path: Path) -> None:
    path = tmp_path / "live.duckdb"
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "open\n"
        error = refused(path, bench_file(tmp_path))
        holder.communicate("")
    assert isinstance(error, OpenError)
    assert str(error) in {
        f"{path}: The recording is in use by {who}.\n"
        "Close it there first: while a recording is written, no other reader can have it."
        for who in (f"process {holder.pid}", "another process")
    }


def test_a_recording_without_an_end_has_no_length(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only its start is known, as where the log of a killed process is still to be read by nobody."""
    path = tmp_path / "van.duckdb"
    RecordingWriter(path, about={"start_ns": str(START_NS)}, bench={}).close()
    path.with_name("van.duckdb.wal").touch()
    (tmp_path / "van.toml").write_text(BENCH)
    report = verify(path, tmp_path / "van.toml")
    assert (report.start_ns, report.end_ns) == (START_NS, START_NS)
