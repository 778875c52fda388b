"""The demo: the simulated van and what watches it, on ports that no other demo uses."""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from busprobe.decode.layout import Database
from busprobe.engine.plan import Plan
from busprobe.session.live_scene import LiveScene
from busprobe.session.scene import Scene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import Snapshot
from busprobe.session.verifying import load_plan
from busprobe.van.generate import write_recording
from busprobe.van.make import SHIPPED, write_samples
from busprobe.van.process import ENDED, VanProcess
from busprobe.van.samples import BENCH_FILE

FROM_S = 110
"""Where in the drive it starts: the van moves, with beacons on; it brakes at once, and backs up after half a minute."""
AGAIN = 'Nothing more comes from it: leave with q, and start "busprobe demo" again.'
_RECORDED = "five_faults.duckdb"


class DemoScene(LiveScene):
    """A live vehicle that is a simulated van, which ends with the scene."""

    def __init__(self, plan: Plan, databases: Mapping[str, Sequence[Database]], van: VanProcess) -> None:
        self.van = van
        super().__init__(plan, databases)

    def snapshot(self) -> Snapshot:
        """Where the van has ended: that, instead of advice for a bus and a box that cannot come back."""
        picture, ended = super().snapshot(), self.van.trouble
        if not ended:
            return picture
        sources = tuple(replace(source, trouble="") for source in picture.sources)
        told = ENDED if ended == ENDED else f"{ENDED} {' '.join(ended.split())}"
        return replace(picture, sources=sources, failure=f"{told} {AGAIN}")

    def close(self) -> None:
        super().close()
        self.van.close()


def open_demo(directory: Path) -> Scene:
    """The van, live, with its bench file in `directory`; a recording of it where the system has no pseudo-terminals.

    Raises DeviceError where it does not start.
    """
    if os.name != "posix":
        seed, faults = SHIPPED[_RECORDED]
        write_recording(directory / _RECORDED, seed, faults, overwrite=True)
        return open_scene(directory / _RECORDED)
    bench = _own_bench(directory)
    van = VanProcess(bench, from_s=FROM_S)
    with ExitStack() as on_error:
        on_error.callback(van.close)
        scene = DemoScene(*load_plan(bench), van)
        on_error.pop_all()
    return scene


def _own_bench(directory: Path) -> Path:
    """The shipped bench file, on a bus and an input box of its own."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("", 0))
        port = probe.getsockname()[1]
    write_samples(directory)
    bench = directory / BENCH_FILE
    text = bench.read_text(encoding="utf-8")
    text = text.replace("port = 43113", f"port = {port}").replace('"van-box"', f'"van-demo-{port}"')
    bench.write_text(text, encoding="utf-8", newline="\n")
    return bench
