"""A live run in a process of its own, which somebody else stops and lets go on.

python held_up.py BENCH KIND     until a line comes in; then it prints what it found, as JSON
KIND: "kernel", or "reader" for a driver whose frames are stamped as they are read
"""

from __future__ import annotations

import json
import sys
import threading
from pathlib import Path
from types import MappingProxyType

from busprobe.session.live import LiveRun
from busprobe.session.live_bench import live_sources, stated_uncertainty
from busprobe.session.verifying import load_plan
from busprobe.sources import bus_connection, drivers
from busprobe.sources.clock import Clock


def main(bench: str, kind: str) -> None:
    if kind == "reader":
        as_read = drivers.Driver(drivers.StampedBy.READER, has_rate=False)
        drivers.DRIVERS = MappingProxyType({**drivers.DRIVERS, "udp_multicast": as_read})
        bus_connection.form_of = lambda *_: None
    plan, _ = load_plan(Path(bench))
    sources = live_sources(plan.bench)
    run = LiveRun(plan, sources, Clock(), uncertainty_ns=stated_uncertainty(plan.bench, sources))
    run.start()
    over = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.readline(), over.set()), daemon=True).start()
    print("ready", flush=True)
    while not over.is_set():
        run.turn()
    (check,) = run.finish().checks
    found = {
        "outcomes": [o.outcome.value for o in check.occurrences],
        "states": [(row.condition.value, row.note) for row in run.states],
        "frames": run.frames,
    }
    print(json.dumps(found), flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
