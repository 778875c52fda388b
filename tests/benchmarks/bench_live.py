"""A live run at full load, run by hand: frames lost, processor time per frame, time to the log.

    python tests/benchmarks/bench_live.py [--rate 8000] [--for 60]

Two senders on udp_multicast (one port each) send `rate` frames/s each. First a bare python-can
receive loop takes them, one thread a bus, then a live run with both buses: 100 messages decoded,
20 checks, a trigger, recording on. Processor time is that of this process alone; the senders are
processes of their own. Loss is counted from what the senders say they have sent.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import can
import numpy as np

from busprobe.results import LogLine
from busprobe.session.live import LiveRun
from busprobe.session.live_bench import LiveOptions, live_sources, new_recorder
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock

PORTS = (43201, 43202)
GROUP = "239.74.163.2"
LEAD_S = 1.5
"""The senders start this long after the receivers."""


def bench_text(dbc: Path, identifiers: int) -> str:
    """Both buses, all messages decoded by one signal each on each bus, 20 checks, a trigger."""
    import cantools

    database = cantools.database.load_file(str(dbc))
    parts = ['[vehicle]\nname = "load"\n']
    for k, port in enumerate(PORTS):
        parts.append(
            f'[[bus]]\nname = "bus{k}"\ninterface = "udp_multicast"\nchannel = "{GROUP}"\nport = {port}\n'
            f'bitrate = 1000000\ndatabases = ["{dbc.name}"]\n'
        )
    parts.append("[signals]\n")
    names = []
    for i, message in enumerate(database.messages[:identifiers]):
        signal = message.signals[0]
        names.append(f"s{i}")
        parts.append(f's{i} = {{ from = "bus{i % 2}.{message.name}.{signal.name}" }}\n')
    noisy = database.messages[0]
    parts.append(f'noise = {{ from = "bus0.{noisy.name}.{noisy.signals[2].name}" }}\n')
    for c in range(20):
        parts.append(f'[[check]]\nname = "c{c}"\nnever = "s{c} < {c} and s{c + 20} > 200"\nsettle = "1 s"\n')
    parts.append('[[trigger]]\nname = "seen"\non = "rises(noise > \'80 degC\')"\n')
    return "".join(parts)


def senders(rate: int, seconds: float) -> list[subprocess.Popen[str]]:
    return [
        subprocess.Popen(
            [sys.executable, "-m", "busprobe.van.load", f"--port={port}", f"--rate={rate}", f"--for={seconds}s"],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )
        for port in PORTS
    ]  # fmt: skip


def sent(processes: Sequence[subprocess.Popen[str]]) -> int:
    total = 0
    for process in processes:
        said = process.communicate(timeout=600)[0]
        print("   sender:", said.strip().splitlines()[-1] if said.strip() else "-")
        digits = [int(word.replace(",", "")) for word in said.split() if word.replace(",", "").isdigit()]
        total += digits[0] if digits else 0
    return total


def bare(rate: int, seconds: float) -> tuple[int, float]:
    """Frames received and processor seconds of a bare receive loop, one thread a bus."""
    stop = threading.Event()
    counts = [0, 0]

    def receive(k: int) -> None:
        with can.Bus(interface="udp_multicast", channel=GROUP, port=PORTS[k]) as bus:
            while not stop.is_set():
                if bus.recv(0.05) is not None:
                    counts[k] += 1

    threads = [threading.Thread(target=receive, args=(k,)) for k in range(2)]
    for thread in threads:
        thread.start()
    time.sleep(LEAD_S)
    start = time.process_time()
    processes = senders(rate, seconds)
    out = sent(processes)
    time.sleep(0.3)
    used = time.process_time() - start
    stop.set()
    for thread in threads:
        thread.join()
    print(f"bare loop: sent {out:,}, received {sum(counts):,}, {1e6 * used / max(sum(counts), 1):.1f} us a frame")
    return sum(counts), used


def live(folder: Path, dbc: Path, rate: int, seconds: float) -> tuple[int, float]:
    bench = folder / "load.toml"
    bench.write_text(bench_text(dbc, 100))
    plan, databases = load_plan(bench)
    delays: list[float] = []
    clock = Clock()

    def lines(new: Sequence[LogLine]) -> None:
        now = clock.now_ns()
        delays.extend((now - line.decided_ns) / 1e6 for line in new if line.kind == "trigger")

    run = LiveRun(plan, live_sources(plan.bench), clock, on_lines=lines)
    recorder = new_recorder(plan.bench, databases, LiveOptions(record=folder / "load.duckdb"), run.start_ns, {})
    run.recorder = recorder
    run.start()
    until = time.monotonic() + LEAD_S
    while time.monotonic() < until:
        run.turn()
    start = time.process_time()
    processes = senders(rate, seconds)
    is_sending, next_look = True, 0.0
    while is_sending:
        run.turn()
        if time.monotonic() >= next_look:
            next_look = time.monotonic() + 0.2
            is_sending = any(p.poll() is None for p in processes)
    until = time.monotonic() + 0.3
    while time.monotonic() < until:
        run.turn()
    used = time.process_time() - start
    results = run.finish()
    assert recorder is not None
    state = recorder.stop()
    out = sent(processes)
    late = np.percentile(delays, [50, 99]) if delays else [0, 0]
    print(
        f"live run: sent {out:,}, received {run.frames:,}, recorded {state.rows:,}, late {results.late}, "
        f"gaps {[s.gaps for s in run.status.values()]}, {1e6 * used / max(run.frames, 1):.1f} us a frame, "
        f"trigger in the log after {late[0]:.0f} ms (p50), {late[1]:.0f} ms (p99), {len(delays)} triggers"
    )
    return run.frames, used


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--rate", type=int, default=8000)
    options.add_argument("--for", dest="seconds", type=float, default=60.0)
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        dbc = folder / "load.dbc"
        subprocess.run([sys.executable, "-m", "busprobe.van.load", "--dbc", str(dbc)], check=True)
        count, used = bare(given.rate, given.seconds)
        frames, live_used = live(folder, dbc, given.rate, given.seconds)
        print(f"ratio of processor time per frame: {live_used / max(frames, 1) / (used / max(count, 1)):.2f}")


if __name__ == "__main__":
    main()
