"""Which source gives a signal, why it gives none, and its way: of a live van, and of the recording of that run.

Every test looks at both. What is to be found is worked out from the batches that were played:
OBD answers by the PID lengths and formulas of SAE J1979 and the frame kinds of ISO 15765-2, both
from memory; wires from the last polls.
"""

from __future__ import annotations

import re
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from scripted import BENCH, ScriptedSource, van_batches

from busprobe.analysis.frame_tally import FrameTally
from busprobe.engine.engine import Engine
from busprobe.errors import DeviceError
from busprobe.frames import Condition, FrameBatch, InputBatch, SourceState, StateBatch, join_frames, join_polls
from busprobe.session.board import Board
from busprobe.session.live import SILENT_S
from busprobe.session.live_scene import LiveScene
from busprobe.session.scene import Scene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import SignalPath, Snapshot, Stage
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock
from busprobe.timeline import FOREVER, TRUE, UNKNOWN

Rows = TypeVar("Rows", FrameBatch, InputBatch)
SECONDS, WAIT_S, MS, S = 40, 60.0, 1_000_000, 1_000_000_000
WHEELS, PARK_BRAKE, ENGINE, DOORS = 0x110, 0x1A0, 0x0C2, 0x23A
PATHS = ("speed", "rpm", "module_volts", "gear", "rear_door", "aux_feed", "battery", "park_brake", "moving")


class Played(ScriptedSource):
    """Waits for `gate`; after its last batch it idles, or is gone for good."""

    def __init__(
        self, name: str, batches: list[FrameBatch] | list[InputBatch], begin_ns: int, *, goes: bool = False
    ) -> None:
        super().__init__(name, batches)
        self._begin_ns = begin_ns
        self.gate = threading.Event()
        self._goes = goes

    def read(self) -> FrameBatch | InputBatch:
        if not self.gate.wait(0.02):
            return replace(self._batches[0].cut(0, 0), complete_to_ns=self._begin_ns)
        if self._goes and self.at == len(self._batches):
            self._missing = True
            self.done.set()
            raise DeviceError(f"{self._name} was pulled out.")
        return super().read()


@dataclass
class Way:
    """A scene at its end."""

    picture: Snapshot
    paths: dict[str, SignalPath]

    def stage(self, signal: str, title: str) -> Stage:
        return next(stage for stage in self.paths[signal].stages if stage.title == title)

    def text(self, signal: str) -> str:
        now = self.picture.signal(signal)
        assert now is not None
        return now.text


@dataclass
class Seen:
    ways: dict[str, Way]
    frames: FrameBatch
    polls: InputBatch


Change = Callable[[FrameBatch, int], FrameBatch]
"""A batch and when the drive begins -> the batch changed."""
Bend = Callable[[InputBatch, int], InputBatch]


def until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < end, "it does not come"
        time.sleep(0.01)


def look(scene: Scene) -> Way:
    paths = {name: scene.path(name) for name in PATHS}
    picture = scene.snapshot()
    list(picture.signals)  # what is known now, not when the scene is closed
    return Way(picture, {name: path for name, path in paths.items() if path is not None})


def play(tmp_path: Path, frames: Change, polls: Bend, *, bench: Path = BENCH, box_goes: bool = False) -> Seen:
    """Forty seconds of the van, changed, live and recorded; then replayed."""
    some, others = van_batches(1, SECONDS)
    begin = Clock().now_ns()
    by = begin - int(others[0].t_ns[0])
    bus = [replace(b, t_ns=b.t_ns + by, complete_to_ns=_moved(b.complete_to, by)) for b in some]
    box = [replace(b, t_ns=b.t_ns + by, complete_to_ns=_moved(b.complete_to_ns, by)) for b in others]
    bus, box = [frames(b, begin) for b in bus], [polls(b, begin) for b in box]
    box = box[: SECONDS - 5] if box_goes else box
    sources = [Played("body", bus, begin), Played("box", box, begin, goes=box_goes)]
    path = tmp_path / "drive.duckdb"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("busprobe.session.live.SILENT_S", WAIT_S)  # until the gate opens nothing gets further
        live = LiveScene(*load_plan(bench), sources)
    try:
        assert live.start_recording(str(path)) == ""
        until(lambda: live.snapshot().recorder is not None)
        for source in sources:
            source.gate.set()
        until(lambda: all(s.done.is_set() for s in sources))
        for status in live._run.status.values():
            status.patience_s = SILENT_S
        last = int(bus[-1].t_ns[-1])
        until(lambda: live.snapshot().t_ns >= last)
        ways = {"live": look(live)}
    finally:
        live.close()
    replay = open_scene(path, bench)
    try:
        until(lambda: replay.snapshot().loaded == 1.0)
        assert replay.player is not None
        replay.player.seek(FOREVER)
        ways["replay"] = look(replay)
    finally:
        replay.close()
    return Seen(ways, join_frames(bus), join_polls(box))


def _moved(t_ns: int | None, by: int) -> int | None:
    return None if t_ns is None else t_ns + by


def same(batch: Rows, _begin_ns: int) -> Rows:
    return batch


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Seen:
    """No DoorStatus; WheelSpeed gone for 5 s; the rear door chatters, the park brake is not available, for 2 s."""

    def frames(batch: FrameBatch, begin_ns: int) -> FrameBatch:
        gone = (batch.identifier == WHEELS) & (batch.t_ns >= begin_ns + (SECONDS - 5) * S)
        gone |= batch.identifier == DOORS
        sent = (batch.identifier == PARK_BRAKE) & (batch.t_ns >= begin_ns + (SECONDS - 2) * S)
        payload = np.where(sent, np.uint64(0xFFFF_FFFF_FFFF_FFFF), batch.payload)
        return replace(batch, payload=payload).take(~gone)

    def polls(batch: InputBatch, begin_ns: int) -> InputBatch:
        shaky = (batch.t_ns >= begin_ns + (SECONDS - 2) * S) & (np.arange(len(batch)) % 2 == 1)
        return replace(batch, mask=batch.mask ^ shaky.astype(np.uint64))

    return play(tmp_path_factory.mktemp("faulty"), frames, polls)


@pytest.fixture(scope="module")
def boxless(tmp_path_factory: pytest.TempPathFactory) -> Seen:
    """The box is pulled out 5 s before the end, for good."""
    return play(tmp_path_factory.mktemp("boxless"), same, same, box_goes=True)


@pytest.fixture(scope="module")
def uncycled(tmp_path_factory: pytest.TempPathFactory) -> Seen:
    """A database that says of no message how often it is sent."""
    folder = tmp_path_factory.mktemp("uncycled")
    text = BENCH.with_suffix(".dbc").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if not re.match(r'BA_ "GenMsgCycleTime"', line)]
    (folder / "patrol_van.dbc").write_text("\n".join(kept) + "\n", encoding="utf-8")
    shutil.copy(BENCH, folder)
    return play(folder, same, same, bench=folder / BENCH.name)


BOTH = pytest.mark.parametrize("way", ["live", "replay"])


def newest_answer(frames: FrameBatch) -> tuple[int, bytes, list[bytes]]:
    """Time, payload and frames of the newest answer of 7E8 with PID 0C, 0D and 42: two frames of 8 bytes."""
    own = frames.take(frames.identifier == 0x7E8)
    data = [w.astype("<u8").tobytes()[:8] for w in own.words()]
    at = max(i for i, d in enumerate(data) if d[0] == 0x21 and data[i - 1][:3] == b"\x10\x09\x41")
    return int(own.t_ns[at]), data[at - 1][2:] + data[at][1:4], [data[at - 1], data[at]]


@BOTH
def test_a_lost_source_is_named_beside_the_one_that_counts(faulty: Seen, way: str) -> None:
    seen = faulty.ways[way]
    speed = seen.picture.signal("speed")
    assert speed is not None
    assert (speed.source, speed.instead) == ("obd.0D", "body.WheelSpeed.VehicleSpeed (lost)")
    t_ns, payload, _ = newest_answer(faulty.frames)
    assert payload[4] == 0x0D, "0C has two data bytes"
    assert (speed.value, speed.text) == (payload[5], f"{payload[5]}.00 km/h"), (
        "in the steps of the first source, 0.01 km/h"
    )
    assert speed.age_ns == seen.picture.t_ns - t_ns
    assert speed.max_age_ns == 1500 * MS, "three times as long as the bench file lets it take"
    assert seen.stage("speed", "Source").text == "obd.0D"
    assert seen.stage("speed", "Source").detail == "instead of body.WheelSpeed.VehicleSpeed (lost)"
    assert not [s for s in seen.paths["speed"].stages if s.title == "Frame"]


@BOTH
def test_while_the_first_source_counts_the_path_is_its_own(faulty: Seen, way: str) -> None:
    seen = faulty.ways[way]
    rpm = seen.picture.signal("rpm")
    assert rpm is not None
    assert (rpm.source, rpm.instead) == ("body.EngineData.EngineSpeed", "")
    assert seen.stage("rpm", "Source").detail == "first of 2; else obd.0C"
    newest = faulty.frames.take(faulty.frames.identifier == ENGINE)
    assert seen.paths["rpm"].payload == newest.words()[-1].astype("<u8").tobytes()[: int(newest.length[-1])]


@BOTH
def test_an_obd_answer_is_shown_as_it_was_heard(faulty: Seen, way: str) -> None:
    seen = faulty.ways[way]
    _, payload, parts = newest_answer(faulty.frames)
    frames = seen.stage("module_volts", "Frames")
    assert frames.text == "7E8: " + " / ".join(part.hex(" ").upper() for part in parts)
    assert f"2 frames, {len(payload)} bytes" in frames.detail
    # 41, then 0C and two bytes, 0D and one, 42 and two: millivolts, the high byte first.
    raw = int.from_bytes(payload[7:9], "big")
    assert seen.stage("module_volts", "Raw").text == str(raw)
    assert seen.stage("module_volts", "Value").text == f"{raw / 1000:.6g} V"
    path = seen.paths["module_volts"]
    assert path.payload == payload
    digits = "".join(str(payload[b // 8] >> b % 8 & 1) for b in path.bits)
    assert int(digits, 2) == raw
    asked = faulty.frames.take(faulty.frames.identifier == 0x7DF)
    age = (seen.picture.t_ns - int(asked.t_ns[-1])) / 1e6
    request = seen.stage("module_volts", "Request")
    assert request.text == "01 42"
    assert request.detail == f"body 7DF, asked {age:.0f} ms ago by another tester, with 2 more PIDs"


@BOTH
def test_unknown_says_why(faulty: Seen, way: str) -> None:
    seen = faulty.ways[way]
    assert seen.text("rear_door") == "unknown (chattering)"
    door = seen.picture.signal("rear_door")
    assert door is not None
    assert door.since_ns is not None
    assert S < seen.picture.t_ns - door.since_ns < 2 * S, "since its chatter began, not since its newest burst"
    assert seen.text("park_brake") == "unknown (not available)"
    assert seen.paths["park_brake"].signal.text == "unknown (not available)"
    assert seen.stage("park_brake", "Freshness").text.startswith("not available, ")
    assert seen.text("driver_door") == "unknown (not seen yet)"


@pytest.mark.parametrize("box_goes", [False, True])
def test_the_words_are_those_of_the_reports(faulty: Seen, box_goes: bool) -> None:
    plan, databases = load_plan(BENCH)
    board = Board(plan, databases)
    engine = Engine(plan, ["body", "box"], histories=board.histories)
    end = int(faulty.frames.t_ns[-1])
    engine.push("body", replace(faulty.frames, complete_to_ns=end))
    engine.push("box", replace(faulty.polls, complete_to_ns=end))
    if box_goes:
        down = SourceState(end - 3 * S, "box", Condition.DOWN)
        engine.push("box", StateBatch((down,), complete_to_ns=end))
    engine.advance()
    assert engine.upto_ns is not None
    for now in board.signals(engine.upto_ns - 1, FrameTally()):
        assert now.text == engine._run.text_at(now.name, engine.upto_ns - 1), now.name


@BOTH
def test_a_chattering_line_has_the_level_of_its_newest_poll(faulty: Seen, way: str) -> None:
    seen = faulty.ways[way]
    level, debounce = seen.stage("rear_door", "Level"), seen.stage("rear_door", "Debounce")
    is_high = bool(int(faulty.polls.mask[faulty.polls.t_ns <= seen.picture.t_ns][-1]) & 1)
    assert level.text == ("high" if is_high else "low")
    assert (level.code == TRUE) == (not is_high), "the pin switches to ground"
    assert (debounce.text, debounce.code) == ("unknown (chattering)", UNKNOWN)


@BOTH
def test_lines_polled_every_10_ms_show_no_bounce(faulty: Seen, way: str) -> None:
    """Contacts bounce for a few ms (common practice, no source): 10 ms is too slow to see it."""
    seen = faulty.ways[way]
    box = next(source for source in seen.picture.sources if source.name == "box")
    bus = next(source for source in seen.picture.sources if source.name != "box")
    assert (box.sees_bounce, bus.sees_bounce) == (False, True)
    detail = seen.stage("rear_door", "Debounce").detail
    assert detail.startswith("bounce not measurable; a burst, gaps < 40 ms, counts once")
    assert "bounce up to" not in detail
    periods = {now.name: now.poll_ns for now in seen.picture.signals}
    achieved = int(np.median(np.diff(faulty.polls.t_ns)))
    for name in ("rear_door", "battery", "aux_feed"):
        every = periods[name]
        assert every is not None
        assert abs(every - achieved) < MS
    assert (periods["gear"], periods["speed"], periods["moving"]) == (None, None, None)


@BOTH
def test_analogue_lines_show_their_millivolts(faulty: Seen, way: str) -> None:
    seen = faulty.ways[way]
    assert faulty.polls.analogue is not None
    newest = faulty.polls.analogue[faulty.polls.t_ns <= seen.picture.t_ns][-1]
    assert seen.stage("battery", "Wire").text == f"{newest[0]:,} mV"
    assert seen.stage("battery", "Value").text == f"{newest[0] / 1000:.6g} V"
    assert seen.stage("aux_feed", "Wire").text == f"{newest[1]:,} mV"
    assert seen.stage("aux_feed", "Level").text == ("on" if newest[1] > 9000 else "off")


@BOTH
def test_a_derived_signal_names_its_limits(faulty: Seen, way: str) -> None:
    seen = faulty.ways[way]
    made = "speed, on above 8 km/h, off below 5 km/h"
    assert seen.paths["moving"].stages[0].text == made
    user = next(u for u in seen.paths["speed"].users if u.name == "moving")
    assert user.text.startswith(made)


@BOTH
def test_lines_of_a_box_that_is_gone_say_so(boxless: Seen, way: str) -> None:
    seen = boxless.ways[way]
    assert {seen.text(name) for name in ("rear_door", "battery", "aux_feed", "siren_switch")} == {"unknown (box down)"}
    level, wire = seen.stage("rear_door", "Level"), seen.stage("battery", "Wire")
    assert (level.text, level.code, wire.text) == ("not polled", UNKNOWN, "not polled")
    assert seen.stage("rear_door", "Freshness").text.startswith("box down, ")


@BOTH
def test_a_learnt_age_is_told_as_such(uncycled: Seen, way: str) -> None:
    seen = uncycled.ways[way]
    gear = seen.picture.signal("gear")
    assert gear is not None
    # Sent every 20 ms: three cycles are less than the least of 100 ms.
    assert gear.max_age_ns == 100 * MS
    assert seen.stage("gear", "Freshness").detail == "unknown once older than 100 ms (learnt)"


def test_an_age_that_the_database_gives_is_not_called_learnt(faulty: Seen) -> None:
    assert faulty.ways["live"].stage("gear", "Freshness").detail == "unknown once older than 100 ms"


@pytest.mark.parametrize("name", ["faulty", "boxless", "uncycled"])
def test_the_recording_says_what_the_live_picture_said(name: str, request: pytest.FixtureRequest) -> None:
    ways = request.getfixturevalue(name).ways
    live, replay = ways["live"].picture, ways["replay"].picture
    by = live.t_ns - replay.t_ns
    for now, then in zip(live.signals, replay.signals, strict=True):
        assert (now.text, now.since_ns, now.source, now.instead, now.max_age_ns, now.edges, now.poll_ns) == (
            then.text, then.since_ns, then.source, then.instead, then.max_age_ns, then.edges, then.poll_ns,
        )  # fmt: skip
        assert now.age_ns == (None if then.age_ns is None else then.age_ns + by)
