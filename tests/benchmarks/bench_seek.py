"""Opening and seeking a recording of ten million frames, in the real program, run by hand.

    python tests/benchmarks/bench_seek.py [FOLDER]

The recording and its bench file are those of bench_verify.py; they are made in FOLDER once, or in
a temporary one. In a pseudo-terminal of 120x40: from the start of the program to a usable state
board, until all is loaded, and from keys to the last byte of the complete state board: going to
a time typed in, and to the next edge of a signal.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tui"))
sys.path.insert(0, str(Path(__file__).parent))

import bench_verify
from bench_live_screen import COLUMNS, LINES, spread
from pseudo_terminal import Terminal

FRAMES = 10_000_000
QUIET_S = 0.06
"""So long without a byte, the picture is complete."""
SEEKS = 40


def made(folder: Path) -> tuple[Path, Path]:
    """The recording and its bench file."""
    (folder / "long.dbc").write_text(bench_verify.database(), encoding="utf-8")
    bench = folder / "long.toml"
    bench.write_text(bench_verify.bench(), encoding="utf-8")
    recording = folder / "long_10.duckdb"
    if not recording.exists():
        bench_verify.write(recording, FRAMES)
    return recording, bench


def last_byte(terminal: Terminal, patience_s: float = 5.0) -> float:
    """When the last byte of a picture came."""
    came, end = time.perf_counter(), time.perf_counter() + patience_s
    while time.perf_counter() < end:
        if terminal.read(QUIET_S):
            came = time.perf_counter()
        else:
            return came
    raise TimeoutError("the picture does not come to rest")


def seek_to(terminal: Terminal, seconds: int) -> float:
    """Milliseconds from Enter behind a typed time to the last byte of its picture."""
    terminal.press("g")
    time.sleep(0.3)
    terminal.press(str(seconds))
    time.sleep(0.3)
    terminal.drain()
    pressed = terminal.press("\r")
    terminal.read_until(f"{seconds // 60:02d}:{seconds % 60:02d}.", 10)
    return (last_byte(terminal) - pressed) * 1000


def step(terminal: Terminal, key: str) -> float:
    """Milliseconds from a key to the last byte of its picture."""
    time.sleep(0.2)
    terminal.drain()
    pressed = terminal.press(key)
    while not terminal.read(0.01):
        if time.perf_counter() - pressed > 5:
            raise TimeoutError("nothing changes")
    return (last_byte(terminal) - pressed) * 1000


def measure(recording: Path, bench: Path) -> None:
    began = time.perf_counter()
    command = [sys.executable, "-m", "busprobe", "open", str(recording), "--bench", str(bench)]
    terminal = Terminal(command, COLUMNS, LINES)
    try:
        usable = terminal.read_until("F3 Signals", 60)
        print(f"start to state board {usable - began:.2f} s", flush=True)
        terminal.read_until("% read", 60)
        while True:  # until the words of loading come no more
            terminal.drain()
            time.sleep(0.5)
            terminal.read(0.1)
            if b"% read" not in terminal.text() and not terminal.read(0.5):
                break
        print(f"all loaded           {time.perf_counter() - began:.1f} s", flush=True)
        chance = random.Random(1)
        seek_to(terminal, 100)
        print(f"seek                 {spread([seek_to(terminal, chance.randrange(2400)) for _ in range(SEEKS)])}")
        print(f"to the next edge     {spread([step(terminal, chr(27) + '[C') for _ in range(SEEKS)])}")
        print(f"to the edge before   {spread([step(terminal, chr(27) + '[D') for _ in range(SEEKS)])}")
        terminal.press("q")
        terminal.wait(20)
    finally:
        terminal.close()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        measure(*made(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(temporary)))
