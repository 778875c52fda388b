"""Opening and seeking a recording of ten million frames, in the real program, run by hand.

    python tests/benchmarks/bench_seek.py [FOLDER]

The recording and its bench file are those of bench_verify.py; they are made in FOLDER once, or in
a temporary one. In a pseudo-terminal of 120x40: from the start of the program to a usable state
board, until all is loaded, and from keys to the complete state board (what is sent again after that
changes nothing on the screen): going to a time typed in, and to the next edge of a signal.
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
import pyte
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


class Watched:
    """The screen as a person sees it: when did it first show what it shows in the end?"""

    def __init__(self, terminal: Terminal) -> None:
        self._terminal = terminal
        self._screen = pyte.Screen(COLUMNS, LINES)
        self._stream = pyte.ByteStream(self._screen)

    def drain(self) -> None:
        """Take in all that is there."""
        while data := self._terminal.read(0.0):
            self._stream.feed(data)

    def complete(self, patience_s: float = 5.0) -> float:
        """When the picture was complete; what is sent again after that changes nothing."""
        parts = []
        end = time.perf_counter() + patience_s
        while data := self._terminal.read(QUIET_S if parts else patience_s):
            parts.append((time.perf_counter(), data))
            if time.perf_counter() > end:
                raise TimeoutError("the picture does not come to rest")
        shown = []
        for came, data in parts:
            self._stream.feed(data)
            shown.append((came, self._picture()))
        return next(came for came, picture in shown if picture == shown[-1][1])

    def _picture(self) -> list[list[pyte.screens.Char]]:
        return [[self._screen.buffer[y][x] for x in range(COLUMNS)] for y in range(LINES)]


def seek_to(terminal: Terminal, watched: Watched, seconds: int) -> float:
    """Milliseconds from Enter behind a typed time to its complete picture."""
    terminal.press("g")
    time.sleep(0.3)
    terminal.press(str(seconds))
    took = step(terminal, watched, "\r", 0.3)
    terminal.read_until(f"{seconds // 60:02d}:{seconds % 60:02d}.", 10)
    return took


def step(terminal: Terminal, watched: Watched, key: str, pause_s: float = 0.2) -> float:
    """Milliseconds from a key to its complete picture."""
    time.sleep(pause_s)
    watched.drain()
    terminal.drain()
    pressed = terminal.press(key)
    return (watched.complete() - pressed) * 1000


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
        watched = Watched(terminal)
        terminal.resize(COLUMNS, LINES - 1)
        terminal.resize(COLUMNS, LINES)  # so that all is sent once more
        time.sleep(0.5)
        seek_to(terminal, watched, 100)
        times = [chance.randrange(2400) for _ in range(SEEKS)]
        print(f"seek                 {spread([seek_to(terminal, watched, seconds) for seconds in times])}")
        print(f"to the next edge     {spread([step(terminal, watched, chr(27) + '[C') for _ in range(SEEKS)])}")
        print(f"to the edge before   {spread([step(terminal, watched, chr(27) + '[D') for _ in range(SEEKS)])}")
        terminal.press("q")
        terminal.wait(20)
    finally:
        terminal.close()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        measure(*made(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(temporary)))
