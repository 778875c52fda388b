"""What scenes say in many situations, live and replayed: values of every field of every part of a snapshot."""

from __future__ import annotations

import dataclasses
import shutil
import threading
import time
from collections import defaultdict, namedtuple
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from plugged import van_sources
from scripted import BENCH, ScriptedSource, van_batches
from virtual_vehicle import BENCH as VIRTUAL
from virtual_vehicle import Vehicle

from busprobe.frames import ERROR, FrameBatch, InputBatch
from busprobe.health import Faults, Health
from busprobe.recording.write import RecordingWriter
from busprobe.session import asking, readers, signals_now, snapshot, sources_now
from busprobe.session.live_scene import LiveScene
from busprobe.session.polling import start_polling
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import LIVE, open_scene
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock
from busprobe.timeline import FOREVER, TRUE
from busprobe.van.control_units import ControlUnit

RECORDINGS = Path(__file__).parents[2] / "recordings"
WAIT_S = 120.0
S = 1_000_000_000
DRIVEN, TROUBLED, ASKED = "driven.duckdb", "troubled.duckdb", "asked.duckdb"
Rows = TypeVar("Rows", FrameBatch, InputBatch)
PARTS = [it for it in vars(snapshot).values() if isinstance(it, type) and dataclasses.is_dataclass(it)]
PARTS = [it for it in PARTS if it.__module__ in (snapshot.__name__, signals_now.__name__, sources_now.__name__)]
"""The dataclasses that a snapshot and what belongs to it are made of."""
Usage = namedtuple("Usage", "total used free")
Seen = defaultdict[tuple[str, str], set[object]]
"""(name of the part, field) -> its values so far."""


class Picturing:
    """Takes in everything that a scene says."""

    def __init__(self) -> None:
        self.seen: Seen = defaultdict(set)

    def look(self, scene: LiveScene | ReplayScene, *signals: str) -> snapshot.Snapshot:
        """The picture of now, the newest frames, the ways of these signals: of all, where none is named."""
        picture = scene.snapshot()
        self.add(picture)
        table = picture.frames
        for channel, identifier, extended in zip(table.channel, table.identifier, table.is_extended, strict=True):
            detail = scene.frame_detail(table.channels[channel], int(identifier), bool(extended))
            if detail is not None:
                self.add(detail)
        for name in signals or [signal.name for signal in picture.signals]:
            if (way := scene.path(name)) is not None:
                self.add(way)
        if scene.player is not None:
            for mark in scene.player.marks:
                self.add(mark)
        return picture

    def add(self, part: object) -> None:
        """One part and all parts in it."""
        for field in dataclasses.fields(part):  # type: ignore[arg-type]
            value = getattr(part, field.name)
            if type(part) in PARTS:
                self.seen[type(part).__name__, field.name].add(_hashable(value))
            for one in value if isinstance(value, Sequence) else (value,):
                if type(one) in PARTS:
                    self.add(one)


def _hashable(value: object) -> object:
    if isinstance(value, np.ndarray):
        return value.tobytes()
    if isinstance(value, Sequence | dict) or dataclasses.is_dataclass(value):
        return repr(value)
    return value


def until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < end, "it does not come"
        time.sleep(0.01)


# --- live


def live(picturing: Picturing, folder: Path, patch: pytest.MonkeyPatch) -> None:
    """All situations of a live vehicle; `folder` has the recording driven.duckdb afterwards."""
    patch.setattr(readers, "BACK_OFF_S", (0.05,))
    patch.setattr(asking, "start_polling", partial(start_polling, listen_ns=200_000_000))
    patch.setattr(asking, "PATIENCE_NS", 200_000_000)
    _driven(picturing, folder, patch)
    _troubled(picturing, folder, patch)
    _without_database(picturing, folder)
    _asking(picturing, folder, patch)


class _Ailing(ScriptedSource):
    """Says what it is told to say of its health, and gives no batch from number `hold_at` on."""

    now = Health()
    hold_at = 5

    def read(self) -> FrameBatch | InputBatch:
        if self.at < self.hold_at:
            return super().read()
        time.sleep(0.02)
        last = self._batches[self.at - 1]
        return replace(last.cut(0, 0), complete_to_ns=last.complete_to)

    def health(self) -> Health:
        return self.now


def _driven(picturing: Picturing, folder: Path, patch: pytest.MonkeyPatch) -> None:
    """Nothing plugged in; bus and box come; recorded; the box stalls; the bus goes; the disk gets full."""
    bus, box = van_sources(is_in=False)
    with closing(LiveScene(*load_plan(BENCH), [bus, box])) as scene:
        until(lambda: len(scene.snapshot().sources) == 2)
        picturing.look(scene)
        for source in (bus, box):
            source.is_in.set()
        until(lambda: _code(scene, "gear") == _code(scene, "battery") == TRUE)
        scene.start_recording(str(folder / DRIVEN))
        until(lambda: scene.snapshot().recorder is not None)
        for _ in range(8):
            time.sleep(0.4)
            picturing.look(scene)
        box.stall_s = 0.6
        until(lambda: scene.snapshot().late > 0)
        picturing.look(scene)
        bus.is_in.clear()
        until(lambda: not all(s.is_up for s in scene.snapshot().sources))
        picturing.look(scene)
        bus.is_in.set()
        until(lambda: _code(scene, "gear") == TRUE)
        with patch.context() as full:
            full.setattr(shutil, "disk_usage", lambda _: Usage(10**12, 10**12, 150 * 1024**2))
            until(lambda: bool((scene.snapshot().recorder or _NO_RECORDER).failure))
            picturing.look(scene)


_NO_RECORDER = snapshot.RecorderNow("", 0, 0, 0, "")


def _code(scene: LiveScene, name: str) -> int:
    found = scene.snapshot().signal(name)
    assert found is not None
    return found.code


def _troubled(picturing: Picturing, folder: Path, patch: pytest.MonkeyPatch) -> None:
    """Too much at once, an ailing adapter, a bus that sleeps; at last a channel too many."""
    frames, polls = van_batches(1, 40)
    by = Clock().now_ns() - int(polls[0].t_ns[0])
    bus = _Ailing("body", [_moved(batch, by) for batch in frames], pause_s=0.03)
    box = _Ailing("box", [_moved(batch, by) for batch in polls], pause_s=0.03)
    bus._batches[10] = replace(bus._batches[10], flags=bus._batches[10].flags | ERROR)
    with closing(LiveScene(*load_plan(BENCH), [bus, box])) as scene, patch.context() as narrow:
        scene.start_recording(str(folder / TROUBLED))
        until(lambda: scene.snapshot().recorder is not None)
        bus.now = Health(errors=3, lost=7, uncertainty_ns=1_000_000, state="passive", listening="in the driver")
        box.now = Health(errors=2, period_ns=10_000_000, faults=(Faults("time-out", 2, "It is silent.", "Look."),))
        narrow.setattr(readers, "MOST_ROWS", -1)
        bus.hold_at = box.hold_at = 8
        until(lambda: scene.snapshot().lost > 0 and bus.at == box.at == 8)
        narrow.undo()
        told = scene._run.healths._told
        until(lambda: len(told) == 2 and all(health.errors for health in told.values()))  # looked at once a second
        bus.hold_at = box.hold_at = 1 << 30
        until(lambda: bus.done.is_set() and box.done.is_set())
        for source in (bus, box):
            end = source._batches[-1]
            source._batches.append(replace(end.cut(0, 0), complete_to_ns=(end.complete_to or 0) + 5 * S))
        until(lambda: any(source.asleep for source in scene.snapshot().sources))
        picturing.look(scene)
        bus._batches.append(replace(bus._batches[-1], channels=("body", "chassis")))
        until(lambda: bool(scene.snapshot().failure))
        picturing.look(scene, "gear")


def _moved(batch: Rows, by_ns: int) -> Rows:
    complete = batch.complete_to
    return replace(batch, t_ns=batch.t_ns + by_ns, complete_to_ns=None if complete is None else complete + by_ns)


def _without_database(picturing: Picturing, folder: Path) -> None:
    """A bench file whose database is gone."""
    bench = folder / "without.toml"
    bench.write_text(BENCH.read_text(encoding="utf-8"), encoding="utf-8")
    with closing(open_scene(LIVE, bench)) as scene:
        picturing.look(scene)


def _asking(picturing: Picturing, folder: Path, patch: pytest.MonkeyPatch) -> None:
    """A vehicle that answers requests, but not all; recorded, and looked at while the recording is being closed."""
    looked, close = threading.Event(), RecordingWriter.close

    def slow(writer: RecordingWriter) -> None:
        looked.wait(WAIT_S)
        close(writer)

    told = """[signals]
module_volts = { from = "obd.42", unit = "V" }
air = { from = ["obd.05", "obd.0F"] }
"""
    vehicle = Vehicle("fields", ControlUnit(0x7E8, {0x0F: b"\x50", 0x42: b"\x31\x9c"}))
    vehicle.start()
    text = (
        VIRTUAL.format(channel="fields", poll='poll = ["05", "0F", "42"]\nevery = "200 ms"', listen_only="false") + told
    )
    try:
        bench = folder / "asking.toml"
        bench.write_text(text.replace('"body"', '"motor"'), encoding="utf-8")
        with closing(LiveScene(*load_plan(bench), allow_requests=True)) as scene:
            assert scene.start_recording(str(folder / ASKED)) == ""
            until(lambda: scene.snapshot().recorder is not None)
            until(lambda: _code(scene, "air") == TRUE and sum(one.sent for one in scene.snapshot().requests) > 5)
            picturing.look(scene)
            patch.setattr(RecordingWriter, "close", slow)
            scene.stop_recording()
            picturing.look(scene)
            looked.set()
    finally:
        vehicle.stop()


# --- replayed


def replayed(picturing: Picturing, folder: Path) -> None:
    """All situations of a recording; `folder` has those of `live`."""
    for path in (RECORDINGS / "five_faults.duckdb", folder / DRIVEN, folder / TROUBLED):
        _played(picturing, path)
    _asked(picturing, folder)
    _other_source(picturing, folder)
    _damaged(picturing, folder)


@contextmanager
def _loaded(path: Path, bench: Path | None = None) -> Iterator[ReplayScene]:
    with closing(open_scene(path, bench)) as scene:
        assert isinstance(scene, ReplayScene)
        yield scene


def _played(picturing: Picturing, path: Path) -> None:
    with _loaded(path) as scene:
        picturing.look(scene, "gear")
        scene._thread.join(WAIT_S)
        picture = picturing.look(scene, "gear")
        length = picture.end_ns - picture.start_ns
        times = [picture.start_ns + round(part * length) for part in (0.1, 0.3, 0.5, 0.7, 0.9, 1.0)]
        scene.player.seek(FOREVER)
        downs = [down for one in scene.snapshot().downs.values() for down in one.newest]
        for t_ns in [*times, *(t for down in downs for t in (down.begin_ns, down.end_ns or picture.end_ns))]:
            scene.player.seek(t_ns)
            picturing.look(scene)
        scene.player.set_speed(2.0)
        scene.player.seek(picture.start_ns)
        scene.player.play()
        picturing.look(scene, "gear")
        scene.player.pause()


def _asked(picturing: Picturing, folder: Path) -> None:
    """At the beginning, and at the end."""
    with _loaded(folder / ASKED) as scene:
        scene._thread.join(WAIT_S)
        scene.player.seek(FOREVER)
        at_end = picturing.look(scene).requests[0].sent
        scene.player.seek(scene.snapshot().start_ns)
        assert picturing.look(scene).requests[0].sent < at_end


def _other_source(picturing: Picturing, folder: Path) -> None:
    """A bench file in which the first source of a signal is gone at the end, when the tester asks no more."""
    bench = folder / BENCH.name
    (folder / "patrol_van.dbc").write_bytes(BENCH.with_suffix(".dbc").read_bytes())
    text = BENCH.read_text(encoding="utf-8")
    wanted = 'from = ["body.WheelSpeed.VehicleSpeed", "obd.0D"]'
    assert wanted in text
    bench.write_text(text.replace(wanted, 'from = ["obd.0D", "body.WheelSpeed.VehicleSpeed"]'), encoding="utf-8")
    with _loaded(RECORDINGS / "five_faults.duckdb", bench) as scene:
        scene._thread.join(WAIT_S)
        start_ns = scene.snapshot().start_ns
        for seconds in (535, 545):
            scene.player.seek(start_ns + seconds * S)
            picturing.look(scene, "speed")


def _damaged(picturing: Picturing, folder: Path) -> None:
    """A log with a line that is none, with a bench file and without; its loading is stopped."""
    log = folder / "damaged.log"
    lines = [f"({k / 10:.6f}) can0 {0x0E4 + k % 2:03X}#03040{k % 10}" for k in range(100)]
    log.write_text("\n".join([*lines[:50], "(nonsense", *lines[50:]]) + "\n", encoding="utf-8")
    for bench in (BENCH, None):
        with _loaded(log, bench) as scene:
            scene._thread.join(WAIT_S)
            scene.player.seek(FOREVER)
            picturing.look(scene)
    with _loaded(RECORDINGS / "handover.duckdb") as scene:
        scene.stop_loading()
        scene._thread.join(WAIT_S)
        picturing.look(scene, "gear")
