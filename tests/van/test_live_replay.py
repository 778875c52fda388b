"""What a live run says over the real way from bus and box, its recording says too, line by line.

van in real time ──> sockets, pseudo-terminal ──> readers ──> engine ──> log
                                                     └──────> recorder ──> replay ──> the same log
"""

from __future__ import annotations

import os
import threading
from collections import Counter
from pathlib import Path

import pytest

from busprobe.bench.load import load
from busprobe.frames import FrameBatch, InputBatch
from busprobe.recording.read import open_recording
from busprobe.session.live_bench import LiveOptions, run_live
from busprobe.session.verifying import load_plan, verify
from busprobe.van.database import database_text
from busprobe.van.live import Van
from busprobe.van.samples import DATABASE_FILE, bench_text
from busprobe.van.steps import ns

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals")

FROM_NS = ns(113.6)
"""The van moves, with beacons on, and brakes."""
ENOUGH = 60
"""So many polls and frames; on an idle machine they take 0.6 s."""
MOST_NS = ns(60)
OFTEN = "".join(
    f'\n[[trigger]]\nname = "{name}"\non = "{on}"\n'
    for name, on in (
        ("Speed", "changes(speed)"),
        ("Beacon", "changes(beacon_left)"),
        ("Both beacons", "changes(beacon_left) and beacon_right"),
        ("Battery", "changes(battery)"),
        ("Slow", "held(speed > '5 km/h', '100 ms') and rises(beacon_left)"),
    )
)
"""Logs many lines a second."""


@pytest.fixture
def bench_file(tmp_path: Path, udp_port: int) -> Path:
    """The shipped one on a bus and port that no other test uses."""
    (tmp_path / DATABASE_FILE).write_text(database_text(), encoding="utf-8")
    text = bench_text().replace("port = 43113", f"port = {udp_port}").replace('"van-box"', f'"van-{udp_port}"')
    path = tmp_path / "van.toml"
    path.write_text(text + OFTEN, encoding="utf-8")
    return path


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_replay_says_what_the_live_run_said(seed: int, bench_file: Path, tmp_path: Path) -> None:
    recording = tmp_path / "drive.duckdb"
    came, stop = Counter[type[FrameBatch | InputBatch]](), threading.Event()

    def observe(batch: FrameBatch | InputBatch) -> None:
        came[type(batch)] += len(batch)
        if min(came[FrameBatch], came[InputBatch]) > ENOUGH:
            stop.set()

    plan, databases = load_plan(bench_file)
    options = LiveOptions(record=recording, for_ns=MOST_NS)
    with Van(load(bench_file), seed=seed, from_ns=FROM_NS):
        outcome = run_live(plan, databases, options, observers=[observe], stop=stop)
    live, replayed = outcome.results, verify(recording, bench_file)
    assert list(replayed.log) == list(live.log)
    assert replayed.checks == live.checks
    assert replayed.triggers == live.triggers
    with open_recording(recording) as kept:
        assert list(kept.events()) == list(live.log)
    assert len(live.log) > 10
