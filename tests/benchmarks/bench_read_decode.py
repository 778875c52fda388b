"""Read a recording and decode all its signals in memory, beside python-can and cantools. Run by hand.

    python tests/benchmarks/bench_read_decode.py [FOLDER]

1,000,000 frames, 100 messages, 700 signals, as candump text, BLF and busprobe's own recording. The
baseline is python-can's reader of the same file and cantools' `decode_message` for each frame, one
thread, with `decode_choices=True`; for the own recording that of the candump text. All in one run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import can
import cantools
import numpy as np
from bench_verify import MESSAGES, database

from busprobe.decode.database import load
from busprobe.decode.messages import decode_rows
from busprobe.decode.routing import Router
from busprobe.errors import Problems
from busprobe.frames import FrameBatch
from busprobe.recording.read import open_recording
from busprobe.recording.write import RecordingWriter
from busprobe.sources import blf, candump

FRAMES = 1_000_000
BLOCK = 131_072


def batch() -> FrameBatch:
    rng = np.random.default_rng(1)
    row = np.arange(FRAMES)
    t_ns = 1_700_000_000_000_000_000 + row * 250_000 + rng.integers(0, 50, FRAMES) * 1000
    return FrameBatch(
        t_ns, ("can0",), np.zeros(FRAMES, np.uint8), (256 + row % MESSAGES).astype(np.uint32),
        np.zeros(FRAMES, np.uint8), np.full(FRAMES, 8, np.uint8),
        rng.integers(0, 2**63, FRAMES).astype(np.uint64),
    )  # fmt: skip


def write_files(folder: Path) -> None:
    frames = batch()
    text = folder / "drive.log"
    if not text.exists():
        words = frames.payload.astype("<u8").tobytes()
        with text.open("w") as out:
            for i, (t, identifier) in enumerate(zip(frames.t_ns.tolist(), frames.identifier.tolist(), strict=True)):
                data = words[8 * i : 8 * i + 8].hex().upper()
                out.write(f"({t // 10**9}.{t % 10**9 // 1000:06d}) can0 {identifier:03X}#{data}\n")
    packed = folder / "drive.blf"
    if not packed.exists():
        with can.BLFWriter(str(packed)) as writer:
            for message in can.CanutilsLogReader(str(text)):
                writer.on_message_received(message)
    own = folder / "drive.duckdb"
    if not own.exists():
        with RecordingWriter(own, about={}, bench={}) as writer_:
            for start in range(0, FRAMES, 100_000):
                writer_.add(frames.cut(start, start + 100_000))


def baseline(reader: Callable[[str], Iterator[can.Message]], path: Path, dbc: Path) -> float:
    messages = cantools.database.load_file(str(dbc))
    start = time.perf_counter()
    for message in reader(str(path)):
        messages.decode_message(message.arbitration_id, message.data, decode_choices=True)
    return time.perf_counter() - start


def ours(batches: Callable[[], Iterator[object]], dbc: Path) -> float:
    router = Router([(None, m) for m in load(dbc).messages])
    start = time.perf_counter()
    frames = signals = 0
    for one in batches():
        if isinstance(one, FrameBatch) and len(one):
            frames += len(one)
            for index, rows in router.split(one):
                signals += sum(len(s.value) for s in decode_rows(one, rows, router.messages[index]))
    taken = time.perf_counter() - start
    assert frames == FRAMES
    assert signals == 7 * FRAMES
    return taken


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    dbc = folder / "drive.dbc"
    dbc.write_text(database())
    write_files(folder)
    slow_text = baseline(can.CanutilsLogReader, folder / "drive.log", dbc)
    slow_blf = baseline(can.BLFReader, folder / "drive.blf", dbc)

    def own() -> Iterator[object]:
        with open_recording(folder / "drive.duckdb") as recording:
            yield from recording.batches(BLOCK)

    cases = {
        "candump text": (slow_text, lambda: candump.FORMAT.read(folder / "drive.log", Problems(), BLOCK)),
        "BLF": (slow_blf, lambda: blf.FORMAT.read(folder / "drive.blf", Problems(), BLOCK)),
        ".duckdb": (slow_text, own),
    }
    for name, (slow, batches) in cases.items():
        best = min(ours(batches, dbc) for _ in range(3))
        print(
            f"{name:13s} python-can + cantools {slow:6.2f} s ({FRAMES / slow / 1e3:5.0f} k frames/s), "
            f"busprobe {best:6.3f} s ({FRAMES / best / 1e6:5.2f} M frames/s): {slow / best:5.1f} x"
        )


if __name__ == "__main__":
    main()
