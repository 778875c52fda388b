"""Processor time of the display on a live bus, and key to picture, run by hand.

    python tests/benchmarks/bench_live_screen.py [SECONDS] [RATE ...]

The real program in a pseudo-terminal of 120x40, ten pictures a second, on a udp_multicast bus
that another process fills: 150 identifiers, 30 signals, 7 checks. In one process and one live run:
first without any screen, then each screen in turn; the display is the difference. After that keys,
from the key written to the new screen read back.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tui"))

from pseudo_terminal import Terminal

from busprobe.session.live_scene import LiveScene
from busprobe.session.verifying import load_plan
from busprobe.tui.app import BusprobeApp
from busprobe.van.load import GROUP, database_text

COLUMNS, LINES, IDENTIFIERS = 120, 40, 150
RATES = (1000, 4000, 16000)
WARM_S = 2.0
SCREENS = (("state board", "1"), ("frames", "2"), ("signal path", "3"), ("logic", "4"), ("health", "5"))
KEYS = (("2", "Payload"), ("1", "F3 Signals"))


def bench_text(port: int) -> str:
    """Fifteen switches, fifteen quantities, seven checks."""
    parts = [
        (
            f'[vehicle]\nname = "load"\n[[bus]]\nname = "body"\ninterface = "udp_multicast"\nchannel = "{GROUP}"\n'
            f'port = {port}\ndatabases = ["load.dbc"]\n[signals]\n'
        )
    ]
    for k in range(15):
        parts.append(f'sw{k} = {{ from = "body.Load{k:03d}.Switch" }}\n')
        parts.append(f'heat{k} = {{ from = "body.Load{k + 15:03d}.Noise" }}\n')
    for k in range(7):
        parts.append(f'[[check]]\nname = "check {k}"\nwhen = "sw{k} == 1"\nexpect = "sw{k + 1} == 1"\nwithin = "1 s"\n')
    return "".join(parts)


def child(bench: Path, seconds: float, result: Path) -> None:
    """The program: a live run, measured without and with each screen; then it waits for keys."""
    scene = LiveScene(*load_plan(bench))
    time.sleep(WARM_S)
    shares = {"no screen": _share_while(seconds)}

    class Measured(BusprobeApp):
        """Shows one screen after the other."""

        def on_ready(self) -> None:
            self._next(0)

        def _next(self, number: int) -> None:
            if number == len(SCREENS):
                picture = scene.snapshot()
                shares["lost"] = picture.lost
                shares["count"] = int(picture.frames.count.sum())
                result.write_text(json.dumps(shares), encoding="utf-8")
                return
            name, key = SCREENS[number]
            self.call_later(self.simulate_key, key)
            self.set_timer(WARM_S, lambda: self._begin(number, name))

        def _begin(self, number: int, name: str) -> None:
            cpu, wall = time.process_time(), time.perf_counter()

            def done() -> None:
                shares[name] = (time.process_time() - cpu) / (time.perf_counter() - wall)
                self._next(number + 1)

            self.set_timer(seconds, done)

    try:
        Measured(scene).run()
    finally:
        scene.close()


def _share_while(seconds: float) -> float:
    cpu, wall = time.process_time(), time.perf_counter()
    time.sleep(seconds)
    return (time.process_time() - cpu) / (time.perf_counter() - wall)


def measure(rate: int, seconds: float, folder: Path) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("", 0))
        port = probe.getsockname()[1]
    (folder / "load.dbc").write_text(database_text(IDENTIFIERS), encoding="utf-8")
    bench, result = folder / "load.toml", folder / f"{rate}.json"
    bench.write_text(bench_text(port), encoding="utf-8")
    sender = subprocess.Popen(
        [sys.executable, "-m", "busprobe.van.load", "--port", str(port), "--rate", str(rate), "--for", "10min",
         "--identifiers", str(IDENTIFIERS)],
    )  # fmt: skip
    terminal = Terminal([sys.executable, __file__, "--child", str(bench), str(seconds), str(result)], COLUMNS, LINES)
    try:
        deadline = time.monotonic() + (seconds + WARM_S) * (len(SCREENS) + 1) + 60
        while not result.exists():
            terminal.read(0.05)
            if time.monotonic() > deadline or terminal.process.poll() is not None:
                raise TimeoutError(terminal.text()[-1500:].decode())
        shares = json.loads(result.read_text(encoding="utf-8"))
        alone = shares["no screen"]
        screens = "  ".join(f"{name} {shares[name] - alone:5.1%}" for name, _ in SCREENS)
        print(f"{rate:>6} frames/s  without {alone:5.1%}  display: {screens}  lost {shares['lost']}")
        print(f"{'':>6}            key to picture  {key_times(terminal)}", flush=True)
        terminal.press("q")
        terminal.wait(20)
    finally:
        terminal.close()
        sender.terminate()
        sender.wait()


def key_times(terminal: Terminal, times: int = 30) -> str:
    """Median, p95 and most of the time from a key to the last byte of its screen."""
    took = []
    for _ in range(times):
        for key, words in KEYS:
            time.sleep(0.13)
            terminal.drain()
            pressed = terminal.press(key)
            took.append((terminal.read_until(words, 5) - pressed) * 1000)
    return spread(took)


def spread(took: list[float]) -> str:
    took = sorted(took)
    return f"p50 {took[len(took) // 2]:.0f} ms, p95 {took[int(len(took) * 0.95)]:.0f} ms, most {took[-1]:.0f} ms"


def main(arguments: list[str]) -> None:
    if arguments[:1] == ["--child"]:
        child(Path(arguments[1]), float(arguments[2]), Path(arguments[3]))
        return
    seconds = float(arguments[0]) if arguments else 6.0
    print(f"{os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as folder:
        for rate in [int(a) for a in arguments[1:]] or RATES:
            measure(rate, seconds, Path(folder))


if __name__ == "__main__":
    main(sys.argv[1:])
