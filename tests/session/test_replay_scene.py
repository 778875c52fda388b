"""A recording as a scene: any instant of it, whatever kind of file it is in."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import can
import duckdb
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scripted import BENCH, van_batches

from busprobe.analysis.frame_tally import FrameTally
from busprobe.bench.marker import MARKER
from busprobe.engine.history import NO_BOUNCE, Bounce
from busprobe.errors import BenchError
from busprobe.frames import ERROR, LATE, FrameBatch, StateBatch, join_frames
from busprobe.recording import write
from busprobe.recording.read import open_recording
from busprobe.recording.write import RecordingWriter
from busprobe.report.as_json import verify_json
from busprobe.report.survey_json import survey_json
from busprobe.report.survey_text import survey_lines
from busprobe.report.verify_text import verify_lines
from busprobe.session import stores
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import SourceNow
from busprobe.session.stores import MemoryStore, OwnStore, TallyIndex
from busprobe.session.surveying import survey
from busprobe.session.verifying import verify
from busprobe.timeline import FOREVER, NEVER

SECONDS = 40
RECORDINGS = Path(__file__).parents[2] / "recordings"
WAIT_S = 60.0


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Forty seconds of the van, with its bench file inside."""
    path = tmp_path_factory.mktemp("drive") / "drive.duckdb"
    frames, polls = van_batches(1, SECONDS)
    texts = {p.name: p.read_text(encoding="utf-8") for p in (BENCH, BENCH.with_suffix(".dbc"))}
    with RecordingWriter(path, about={"vehicle": "Van"}, bench=texts) as writer:
        for batches in zip(frames, polls, strict=True):
            for batch in batches:
                writer.add(batch)
    return path


@contextmanager
def loaded(path: Path, bench: Path | None = None) -> Iterator[ReplayScene]:
    scene = open_scene(path, bench)
    assert isinstance(scene, ReplayScene)
    scene._thread.join(WAIT_S)
    assert not scene._thread.is_alive()
    try:
        yield scene
    finally:
        scene.close()


def test_at_the_end_it_says_what_verify_says(drive: Path) -> None:
    report = verify(drive, BENCH)
    with loaded(drive) as scene:
        scene.player.seek(FOREVER)
        picture = scene.snapshot()
        assert (picture.loaded, picture.failure, picture.vehicle) == (1.0, "", report.vehicle)
        assert picture.checks == report.checks
        assert tuple(picture.triggers) == report.triggers
        assert [m.text for m in scene.player.marks if m.kind == "trigger"] == [e.name for e in report.triggers]


def test_a_press_of_the_marker_button_is_a_mark_of_its_own_kind(tmp_path: Path) -> None:
    """Here the siren switch stands for the button."""
    bench = tmp_path / BENCH.name
    (tmp_path / "patrol_van.dbc").write_bytes(BENCH.with_suffix(".dbc").read_bytes())
    told = BENCH.read_text(encoding="utf-8") + '\n[record]\nmarker_line = "box.siren_switch"\n'
    bench.write_text(told, encoding="utf-8")
    recording = RECORDINGS / "handover.duckdb"
    entries = verify(recording, bench).triggers
    pressed = [e.t_ns for e in entries if e.name == MARKER]
    with loaded(recording, bench) as scene:
        player = scene.player
        assert len(pressed) > 2
        assert [m.t_ns for m in player.marks if m.kind == "marker"] == pressed
        assert not [m for m in player.marks if m.kind == "trigger" and m.text == MARKER]
        assert len([m for m in player.marks if m.kind == "trigger"]) == len(entries) - len(pressed) > 0
        player.seek(0)
        forward = [player.step_mark(1, "marker") for _ in pressed]
        assert [m.t_ns for m in forward if m] == pressed
        assert player.step_mark(1, "marker") is None
        back = player.step_mark(-1, "marker")
        assert back is not None
        assert back.t_ns == pressed[-2]


def test_a_bus_that_sleeps_is_said_to_sleep_from_2_s_after_its_last_frame_on() -> None:
    with loaded(RECORDINGS / "handover.duckdb") as scene:
        start = scene.snapshot().start_ns
        with open_recording(RECORDINGS / "handover.duckdb") as kept:
            last = int(kept.frames_between(start + 550 * 10**9, FOREVER).t_ns[-1])

        def asleep(t_ns: int) -> bool:
            scene.player.seek(t_ns)
            return next(s.asleep for s in scene.snapshot().sources if s.name == "body")

        assert not asleep(start + 100 * 10**9)
        assert not asleep(last + 1_990_000_000)
        assert asleep(last + 2_000_000_001)
        assert asleep(FOREVER)


def test_a_picture_in_which_nothing_changed_is_the_same_one(drive: Path) -> None:
    with loaded(drive) as scene:
        first = scene.snapshot()
        assert scene.snapshot() is first
        scene.player.step_frame(1)
        second = scene.snapshot()
        assert second is not first
        assert second.t_ns > first.t_ns
        scene.player.seek(first.t_ns)
        assert scene.snapshot().t_ns == first.t_ns
        scene.player.set_speed(2.0)
        assert scene.snapshot().speed == 2.0


def test_an_obd_signal_is_as_old_as_its_newest_answer(drive: Path) -> None:
    with loaded(drive) as scene:
        scene.player.seek(FOREVER)
        picture = scene.snapshot()
        volts = picture.signal("module_volts")
        assert volts is not None
        assert volts.source == "obd.42"
        assert volts.age_ns is not None
        # The interface asks for it about once a second.
        assert 0 <= volts.age_ns < 1_500_000_000
        scene.player.seek(picture.t_ns - volts.age_ns)
        exact = scene.snapshot().signal("module_volts")
        assert exact is not None
        assert exact.age_ns == 0


def test_at_an_earlier_time_only_what_was_decided_by_then(drive: Path) -> None:
    report = verify(drive, BENCH)
    middle = (report.start_ns + report.end_ns) // 2
    with loaded(drive) as scene:
        scene.player.seek(middle)
        picture = scene.snapshot()
        for check, whole in zip(picture.checks, report.checks, strict=True):
            assert check.occurrences == tuple(o for o in whole.occurrences if o.decided_ns <= middle)
        assert tuple(picture.triggers) == tuple(e for e in report.triggers if e.decided_ns <= middle)
        assert picture.t_ns == middle


@pytest.mark.parametrize("share", [0.0, 0.13, 0.5, 0.77, 1.0])
def test_the_frames_of_an_instant_are_those_up_to_it(drive: Path, share: float) -> None:
    frames = join_frames(van_batches(1, SECONDS)[0])
    t_ns = int(frames.t_ns[0] + share * (frames.t_ns[-1] - frames.t_ns[0]))
    upto = frames.take(frames.t_ns <= t_ns)
    with loaded(drive) as scene:
        scene.player.seek(t_ns)
        table = scene.snapshot().frames
        assert int(table.count.sum()) == len(upto)
        identifier = int(upto.identifier[-1])
        detail = scene.frame_detail("body", identifier, False)
        assert detail is not None
        assert (detail.t_ns, detail.payload) == (int(upto.t_ns[-1]), last_payload(upto))
        assert table.message[table.identifier.tolist().index(identifier)] == detail.message


def last_payload(frames: FrameBatch) -> bytes:
    return frames.words()[-1].astype("<u8").tobytes()[: int(frames.length[-1])]


def test_a_file_of_frames_with_its_bench_file_says_the_same_of_the_bus(drive: Path, tmp_path: Path) -> None:
    frames = join_frames(van_batches(1, SECONDS)[0])
    log = tmp_path / "drive.log"
    with can.CanutilsLogWriter(log) as writer:
        for k in range(len(frames)):
            writer.on_message_received(
                can.Message(
                    frames.t_ns[k] / 1e9, int(frames.identifier[k]), is_extended_id=bool(frames.flags[k] & 1),
                    data=last_payload(frames.take(np.array([k]))), channel="body",
                )
            )  # fmt: skip
    with loaded(drive) as own, loaded(log, BENCH) as other:
        for scene in (own, other):
            scene.player.seek(int(frames.t_ns[len(frames) // 3]) + 500)
        one, two = own.snapshot(), other.snapshot()
        (box,) = (s for s in two.sources if s.kind == "box")
        assert (box.is_up, box.state) == (False, "not recorded")
        assert one.frames.count.tolist() == two.frames.count.tolist()
        assert one.frames.words.tolist() == two.frames.words.tolist()
        assert [(s.name, s.text) for s in one.signals if s.kind.value == "bus"] == [
            (s.name, s.text) for s in two.signals if s.kind.value == "bus"
        ]


# Markers.


def test_a_marker_is_kept_in_the_recording_and_seen_on_reopening(drive: Path, tmp_path: Path) -> None:
    path = tmp_path / "kept.duckdb"
    path.write_bytes(drive.read_bytes())
    with loaded(path) as scene:
        scene.player.seek(scene.snapshot().start_ns + 20_000_000_000)
        at = scene.player.position_ns
        assert scene.player.add_marker("lamp came late") == ""
        assert scene.snapshot().frames.count.sum() > 0
    assert not path.with_name("kept.duckdb.wal").exists()
    with loaded(path) as scene:
        assert [(m.t_ns, m.text) for m in scene.player.marks if m.kind == "marker"] == [(at, "lamp came late")]
    with duckdb.connect(str(path), read_only=True) as con:
        (tags,) = con.execute("SELECT tags FROM duckdb_databases() WHERE NOT internal").fetchone()
    assert tags["storage_version"].startswith("v1.4")


def test_markers_are_in_the_reports_in_order_of_time(drive: Path, tmp_path: Path) -> None:
    path = tmp_path / "marked.duckdb"
    path.write_bytes(drive.read_bytes())
    with loaded(path) as scene:
        start = scene.snapshot().start_ns
        for second, note in ((20, "lamp came late"), (5, "engine on")):
            scene.player.seek(start + second * 1_000_000_000)
            assert scene.player.add_marker(note) == ""
    wanted = ["Markers", "-------", "5.000 s  engine on", "20.000 s  lamp came late"]
    found, surveyed = verify(path, BENCH), survey(path, BENCH)
    for lines in (verify_lines(found), survey_lines(surveyed)):
        assert [line.strip() for line in lines if line.strip() in wanted or "lamp came" in line] == wanted[:1] + wanted[
            2:
        ]
    told = [
        {"t_ns": start + s * 1_000_000_000, "t_s": float(s), "note": n}
        for s, n in ((5, "engine on"), (20, "lamp came late"))
    ]
    for report in (verify_json(found), survey_json(surveyed)):
        assert isinstance(report, dict)
        assert report["markers"] == told


def test_a_marker_without_room_for_a_checkpoint_stays_in_the_log(
    drive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "full.duckdb"
    path.write_bytes(drive.read_bytes())
    monkeypatch.setattr(write, "SPARE_BYTES", 1 << 60)
    with open_recording(path) as recording:
        recording.add_marker(7, "here")
        assert path.with_name("full.duckdb.wal").exists()
        assert recording.events()[-1].name == "here"
    with open_recording(path) as recording:
        assert recording.events()[-1].name == "here"


def test_a_marker_while_another_program_reads_the_recording(drive: Path, tmp_path: Path) -> None:
    path = tmp_path / "shared.duckdb"
    path.write_bytes(drive.read_bytes())
    reads = f"import duckdb, sys; con = duckdb.connect({str(path)!r}, read_only=True); print('open'); sys.stdin.read()"
    with (
        subprocess.Popen([sys.executable, "-c", reads], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other,
        loaded(path) as scene,
    ):
        assert other.stdout is not None
        other.stdout.readline()
        assert scene.player.add_marker("here") == (
            f"{path}: The recording is in use by process {other.pid}.\n"
            "It is open there too, and a marker needs it alone: close it there, then press m again."
        )
        assert not [m for m in scene.player.marks if m.kind == "marker"]
        scene.player.seek(scene.snapshot().start_ns + 20_000_000_000)
        assert scene.snapshot().frames.count.sum() > 0
        assert other.stdin is not None
        other.stdin.close()
        other.wait(WAIT_S)


def test_looking_up_goes_on_while_markers_are_kept(drive: Path, tmp_path: Path) -> None:
    path = tmp_path / "busy.duckdb"
    path.write_bytes(drive.read_bytes())
    with open_recording(path) as recording:
        start, end = recording.start_ns or 0, recording.end_ns or 0
        counts: set[int] = set()
        stop = threading.Event()

        def look() -> None:
            while not stop.is_set():
                counts.add(len(recording.frames_between(start, end)))

        looking = threading.Thread(target=look)
        looking.start()
        for k in range(3):
            recording.add_marker(start + k, f"note {k}")
        stop.set()
        looking.join(WAIT_S)
        assert len(counts) <= 1
        assert [e.name for e in recording.events() if e.kind == "marker"] == ["note 0", "note 1", "note 2"]


def test_what_cannot_be_opened_is_let_go_of(drive: Path, tmp_path: Path) -> None:
    """A bench file that does not fit leaves the recording free."""
    bench = tmp_path / "bad.toml"
    bench.write_text("[vehicle]\nnam = 1\n", encoding="utf-8")
    path = tmp_path / "free.duckdb"
    path.write_bytes(drive.read_bytes())
    with pytest.raises(BenchError):
        open_scene(path, bench)
    with duckdb.connect(str(path)) as con:
        con.execute("CREATE TABLE free (x INTEGER)")


def test_databases_in_other_folders_are_found_in_the_recording(tmp_path: Path) -> None:
    path = tmp_path / "moved.duckdb"
    texts = {
        BENCH.name: BENCH.read_text(encoding="utf-8").replace('"patrol_van.dbc"', '"../sub/patrol_van.dbc"'),
        "patrol_van.dbc": BENCH.with_suffix(".dbc").read_text(encoding="utf-8"),
    }
    with RecordingWriter(path, about={}, bench=texts) as writer:
        writer.add(StateBatch())
        writer.add(van_batches(1, 1)[0][0])
    with loaded(path) as scene:
        assert "gear" in {s.name for s in scene.snapshot().signals}


def test_a_recording_that_is_gone_while_it_is_shown_is_said_in_the_picture(drive: Path) -> None:
    with loaded(drive) as scene:
        scene._source.close()
        scene.player.seek(FOREVER)
        scene.player.step_frame(-1)
        assert "DuckDB says" in scene.snapshot().failure


# The tally at any time.

_TIMES = st.lists(st.integers(0, 400), min_size=1, max_size=60)


def two_buses(times: Sequence[int], other: Sequence[int], late: Sequence[int]) -> list[FrameBatch]:
    """Batches of two buses as recorded: each bus in order, one some way behind the other."""
    batches = []
    names = ("a", "b")
    for channel, own in enumerate((sorted(times), sorted(other))):
        n = len(own)
        flags = np.array([LATE if k in late else 0 for k in range(n)], np.uint8)
        batch = FrameBatch(
            np.array(own, np.int64), names, np.full(n, channel, np.uint8), (np.arange(n) % 3).astype(np.uint32), flags,
            np.full(n, 8, np.uint8), np.arange(n).astype(np.uint64),
        )  # fmt: skip
        batches.append(batch)
    return batches


def said(tally: FrameTally) -> dict[tuple[str, int], tuple[int, ...]]:
    rows = tally.rows
    return {
        (tally.channels[k >> 30], k & 0xFFFF): tuple(
            int(each) for each in (rows.count[i], rows.last_ns[i], rows.words[i, 0], rows.changed_ns[i])
        )
        for i, k in enumerate(rows.key.tolist())
    }


@settings(max_examples=25, deadline=None)
@given(_TIMES, _TIMES, st.sets(st.integers(0, 20), max_size=3), st.lists(st.integers(-5, 410), min_size=1, max_size=12))
def test_the_tally_at_any_time_is_one_fed_from_scratch(
    tmp_path_factory: pytest.TempPathFactory, times: list[int], other: list[int], late: set[int], looks: list[int]
) -> None:
    a, b = two_buses(times, other, sorted(late))
    path = tmp_path_factory.mktemp("tally") / "two.duckdb"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stores, "CHECKPOINT_ROWS", 7)
        with RecordingWriter(path, about={}, bench={}) as writer:
            for start in range(0, max(len(a), len(b)), 5):
                writer.add(a.cut(min(start, len(a)), min(start + 5, len(a))))
                writer.add(b.cut(min(start, len(b)), min(start + 5, len(b))))
        with open_recording(path) as recording:
            index = TallyIndex(OwnStore(recording, pytest.fail))
            for batch in recording.batches(8):
                if isinstance(batch, FrameBatch):
                    index.add(batch)
            for t_ns in looks:
                scratch = FrameTally()
                for batch in (a, b):
                    scratch.add(batch.take(batch.t_ns <= t_ns))
                assert said(index.at(t_ns)) == said(scratch)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 400), st.sampled_from([0, 0, 0, ERROR])), min_size=1, max_size=80),
       st.lists(st.integers(-5, 410), min_size=1, max_size=12))  # fmt: skip
def test_the_tally_of_a_file_with_stamps_out_of_order(rows: list[tuple[int, int]], looks: list[int]) -> None:
    n = len(rows)
    whole = FrameBatch(
        np.array([t for t, _ in rows], np.int64), ("a",), np.zeros(n, np.uint8), (np.arange(n) % 3).astype(np.uint32),
        np.array([f for _, f in rows], np.uint8), np.full(n, 8, np.uint8), np.arange(n).astype(np.uint64),
    )  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stores, "CHECKPOINT_ROWS", 7)
        store = MemoryStore()
        index = TallyIndex(store)
        for start in range(0, n, 10):
            index.add(store.add(whole.cut(start, min(start + 10, n))))
        newest = np.maximum.accumulate(np.where(whole.flags == 0, whole.t_ns, -1))
        for t_ns in looks:
            scratch = FrameTally()
            scratch.add(whole.take((newest <= t_ns) & (whole.flags == 0)))
            counts = {k: v[::2] for k, v in said(index.at(t_ns)).items()}
            assert counts == {k: v[::2] for k, v in said(scratch).items()}


def test_when_payloads_changed_is_known_wherever_one_looks_first() -> None:
    """Straight to 03:56.2, with nothing watched before: the times are those of the frames in the recording."""
    path = RECORDINGS / "five_faults.duckdb"
    with loaded(path) as scene:
        t_ns = scene.snapshot().start_ns + 236_200_000_000
        scene.player.seek(t_ns)
        table = scene.snapshot().frames
    with open_recording(path) as recording:
        frames = recording.frames_between(NEVER, t_ns)
    expected = []
    for identifier in table.identifier.tolist():
        own = frames.take(frames.identifier == identifier)
        other = np.flatnonzero((np.diff(own.payload) != 0) | (np.diff(own.length) != 0)) + 1
        expected.append(int(own.t_ns[other[-1]]) if len(other) else NEVER)
    assert table.changed_ns.tolist() == expected
    assert t_ns - table.changed_ns[table.identifier.tolist().index(0x0E4)] < 100_000_000


def test_bounce_of_input_lines_up_to_the_instant() -> None:
    """The shipped drive with faults has a door switch that chatters, and contacts that bounce."""
    with loaded(RECORDINGS / "five_faults.duckdb") as scene:

        def bounce(t_ns: int) -> tuple[Bounce, int]:
            scene.player.seek(t_ns)
            picture = scene.snapshot()
            lines = [s.bounce for s in picture.signals if s.source.startswith("box.")]
            shown = next(s.bounce for s in picture.sources if s.name == "box")
            assert shown.glitches == sum(line.glitches for line in lines)
            return shown, picture.end_ns

        at_start, end_ns = bounce(scene.snapshot().start_ns)
        assert at_start == NO_BOUNCE
        at_end, _ = bounce(end_ns)
        assert at_end.extra > 10
        assert 0 < at_end.longest_ns < 50_000_000
        assert at_end.chatters > 0


def test_load_and_errors_of_a_bus_up_to_the_instant(tmp_path: Path) -> None:
    """500 kbit/s as the bench file says; error frames do not count as frames."""
    frames = [batch for batch in van_batches(1, 40)[0] if len(batch) > 50]
    path = tmp_path / "errors.duckdb"
    texts = {p.name: p.read_text(encoding="utf-8") for p in (BENCH, BENCH.with_suffix(".dbc"))}
    with RecordingWriter(path, about={"vehicle": "Van"}, bench=texts) as writer:
        for number, batch in enumerate(frames):
            flags = batch.flags.copy()
            if number == 5:
                flags[:7] |= ERROR
            writer.add(replace(batch, flags=flags))
    with loaded(path) as scene:

        def body(t_ns: int) -> SourceNow:
            scene.player.seek(t_ns)
            return next(s for s in scene.snapshot().sources if s.name == "body")

        first, last = int(frames[5].t_ns[0]), int(frames[5].t_ns[6])
        assert [body(t_ns).errors for t_ns in (first - 1, first, last - 1, last, last + 10**9)] == [0, 1, 6, 7, 7]
        start = scene.snapshot().start_ns
        told = body(start + 2_500_000_000)
        joined = join_frames(frames)
        inside = joined.cut(*np.searchsorted(joined.t_ns, (start + 10**9, start + 2 * 10**9)).tolist())
        assert told.per_second == len(inside)
        assert told.load == pytest.approx((47 * len(inside) + 8 * inside.length.sum(dtype=int)) / 500_000)
        assert told.lost is None


def test_before_the_first_frame_a_bus_has_no_rate_and_no_load() -> None:
    """The bus of the shipped drive sleeps for its first seconds."""
    with loaded(RECORDINGS / "handover.duckdb") as scene:
        scene.player.seek(scene.snapshot().start_ns)
        (bus,) = (source for source in scene.snapshot().sources if source.name == "body")
    assert (bus.records, bus.per_second, bus.load) == (0, 0, 0.0)
