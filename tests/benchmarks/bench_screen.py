"""Processor time of the display alone, and key to picture, run by hand.

    python tests/benchmarks/bench_screen.py [SECONDS]

The real program in a pseudo-terminal of 120x40, fed ten changing pictures a second made
beforehand: 150 identifiers, 29 signals, 7 checks. For each screen: processor time in percent of a core,
bytes a second to the terminal. Then keys: from the key written
to the new screen read back, 60 times.
"""

from __future__ import annotations

import dataclasses
import json
import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tui"))

import fake_van
import numpy as np
from fake_scene import FakeScene
from pseudo_terminal import Terminal

from busprobe.session.snapshot import Snapshot
from busprobe.tui.app import BusprobeApp

COLUMNS, LINES, IDENTIFIERS, PICTURES = 120, 40, 150, 50
WARM_S = 1.5


def child(seconds: float, keys: str, result: Path) -> None:
    """The program: shows one screen for a while and writes what it cost."""
    pictures = _pictures()

    class Moving(FakeScene):
        """The next picture each time."""

        turn = 0

        def snapshot(self) -> Snapshot:
            self.turn += 1
            return pictures[self.turn % len(pictures)]

    class Measured(BusprobeApp):
        """Reads the processor's clock when it is warm, and again at the end."""

        def on_ready(self) -> None:
            for key in keys:
                self.call_later(self.simulate_key, key)
            self.set_timer(WARM_S, self._warm)

        def _warm(self) -> None:
            self._cpu, self._wall = time.process_time(), time.perf_counter()
            if seconds > 0:
                self.set_timer(seconds, self._done)

        def _done(self) -> None:
            share = (time.process_time() - self._cpu) / (time.perf_counter() - self._wall)
            result.write_text(json.dumps({"share": share}), encoding="utf-8")
            self.exit()

    Measured(Moving(pictures[0])).run()


def _pictures() -> list[Snapshot]:
    """Pictures in which every identifier has counted on and half of the payloads differ."""
    table = fake_van.frame_table(IDENTIFIERS)
    chance = np.random.default_rng(7)
    made: list[Snapshot] = []
    for turn in range(PICTURES):
        t_ns = fake_van.NOW + turn * 100 * fake_van.MS
        differs = chance.integers(0, 2, IDENTIFIERS).astype(bool)
        words = table.words.copy()
        words[differs, 0] ^= chance.integers(0, 2**24, int(differs.sum())).astype(np.uint64)
        frames = dataclasses.replace(
            table,
            count=table.count + 27 * turn,
            words=words,
            changed=words ^ table.words,
            last_ns=table.last_ns + turn * 100 * fake_van.MS,
            jitter_ns=table.jitter_ns + chance.integers(0, 100_000, IDENTIFIERS),
        )
        signals = tuple(
            dataclasses.replace(
                s,
                text=s.text if s.is_condition else f"{chance.uniform(0, 99):.1f} {s.unit or ''}",
                age_ns=None if s.age_ns is None else int(chance.integers(0, 100)) * fake_van.MS,
                edges=s.edges + (0 if s.is_condition else turn),
            )
            for s in fake_van.SIGNALS
        )
        made.append(dataclasses.replace(fake_van.LIVE, t_ns=t_ns, end_ns=t_ns, frames=frames, signals=signals))
    return made


def start(seconds: float, key: str, result: str) -> Terminal:
    return Terminal([sys.executable, __file__, "--child", str(seconds), key, result], COLUMNS, LINES)


def cost_of(name: str, key: str, seconds: float) -> None:
    with tempfile.TemporaryDirectory() as folder:
        result = Path(folder) / "result.json"
        terminal = start(seconds, key, str(result))
        began = time.perf_counter()
        terminal.wait(seconds + 30)
        wall = time.perf_counter() - began
        terminal.close()
        share = json.loads(result.read_text(encoding="utf-8"))["share"]
        print(f"{name:<14}{share:>7.1%} of a core   {terminal.count / wall / 1000:>6.1f} kB/s")


def keys(times: int = 30) -> None:
    terminal = start(0, "1", os.devnull)
    terminal.read_until("F3 Signals", 20)
    for key in "251":  # each screen is made at its first use
        terminal.press(key)
        time.sleep(0.5)
        terminal.drain()
    took = []
    for _ in range(times):
        for key, words in (("2", "Payload"), ("1", "F3 Signals")):
            time.sleep(0.11)
            terminal.drain()
            pressed = terminal.press(key)
            took.append((terminal.read_until(words, 5) - pressed) * 1000)
    terminal.close()
    took.sort()
    print(
        f"key to picture  median {took[len(took) // 2]:.0f} ms, p95 {took[int(len(took) * 0.95)]:.0f} ms, "
        f"most {took[-1]:.0f} ms ({len(took)} keys)"
    )


def main(arguments: list[str]) -> None:
    if arguments[:1] == ["--child"]:
        child(float(arguments[1]), arguments[2], Path(arguments[3]))
        return
    seconds = float(arguments[0]) if arguments else 10.0
    for name, key in (("state board", "1"), ("frames", "2"), ("signal path", "3"), ("health", "5")):
        cost_of(name, key, seconds)
    keys()


if __name__ == "__main__":
    main(sys.argv[1:])
