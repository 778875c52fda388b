"""Recordings that are opened without a bench file: frames without names, of as many buses as there are channels."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from busprobe.frames import FrameBatch
from busprobe.recording.write import RecordingWriter
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import Snapshot
from busprobe.timeline import FOREVER

S = 1_000_000_000
START_S = 1_700_000_000
FIRST, SECOND = "can0", "can1"
LATER_S, LAST_S = 300, 400
PER_S = 200
"""Enough frames for several batches: the second channel is not heard in the first ones."""


@contextmanager
def at_the_end(path: Path) -> Iterator[Snapshot]:
    scene = open_scene(path)
    assert isinstance(scene, ReplayScene)
    scene._thread.join(60)
    scene.player.seek(FOREVER)
    yield scene.snapshot()
    scene.close()


def is_whole(picture: Snapshot) -> None:
    assert (picture.failure, picture.loaded) == ("", 1.0)
    assert round((picture.end_ns - picture.start_ns) / S) == LAST_S
    table = picture.frames
    found = {table.channels[c]: n for c, n in zip(table.channel.tolist(), table.count.tolist(), strict=True)}
    assert found == {FIRST: LATER_S * PER_S, SECOND: LAST_S - LATER_S + 1}
    assert [(s.name, s.records) for s in picture.sources] == list(found.items())


def times(channel: str) -> list[float]:
    """Seconds since the start."""
    if channel == FIRST:
        return [n / PER_S for n in range(LATER_S * PER_S)]
    return [float(s) for s in range(LATER_S, LAST_S + 1)]


def test_a_file_of_frames_whose_second_channel_is_heard_late(tmp_path: Path) -> None:
    path = tmp_path / "plain.log"
    lines = [f"({START_S + t:.6f}) {channel} 123#0102\n" for channel in (FIRST, SECOND) for t in times(channel)]
    path.write_text("".join(lines), encoding="utf-8")
    with at_the_end(path) as picture:
        is_whole(picture)


def test_a_recording_without_a_bench_file(tmp_path: Path) -> None:
    path = tmp_path / "plain.duckdb"
    with RecordingWriter(path, about={}, bench={}) as writer:
        for channel in (FIRST, SECOND):
            t_ns = START_S * S + (np.array(times(channel)) * S).astype(np.int64)
            n, zero = len(t_ns), np.uint8(0)
            writer.add(
                FrameBatch(t_ns, (channel,), np.full(n, zero), np.full(n, 0x123, np.uint32), np.full(n, zero),
                           np.full(n, 2, np.uint8), np.zeros(n, np.uint64))
            )  # fmt: skip
    with at_the_end(path) as picture:
        is_whole(picture)
