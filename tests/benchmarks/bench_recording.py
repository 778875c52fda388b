"""Speed and size of recordings and of exported samples; run by hand.

    python tests/benchmarks/bench_recording.py [FRAMES]

Writes a recording of 100 identifiers in a temporary folder, in large batches and as a live
run does, reads it with batches of several sizes, each in a process of its own, and exports
7 signals of each frame. Each figure is the better of two runs.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from busprobe.frames import FloatArray, FrameBatch, Int64Array
from busprobe.recording.export import SampleWriter
from busprobe.recording.read import open_recording
from busprobe.recording.write import RecordingWriter

BATCH_ROWS = 131_072
MESSAGES = 100
LIVE_ROWS = 800
"""Frames of 50 ms at 16,000 frames/s."""
LABELS = {0: "Off", 1: "Ready", 2: "Running", 3: "Fault"}


def drive(count: int) -> FrameBatch:
    """Frames 40 to 85 us apart: a ramp, the identifier's number, a rolling counter and a random byte."""
    random = np.random.default_rng(1)
    which = random.integers(0, MESSAGES, count)
    row = np.arange(count, dtype=np.uint64)
    parts = (row // np.uint64(50), 0), (which, 24), (row // np.uint64(MESSAGES) & np.uint64(15), 52)
    payload = random.integers(0, 256, count, np.uint64) << np.uint64(56)
    for value, shift in parts:
        payload |= value.astype(np.uint64) << np.uint64(shift)
    return FrameBatch(
        1_764_000_000_000_000_000 + np.cumsum(random.integers(40, 85, count)) * 1000,
        ("body",),
        np.zeros(count, np.uint8),
        (0x100 + 13 * which).astype(np.uint32),
        np.zeros(count, np.uint8),
        np.full(count, 8, np.uint8),
        payload,
    )


def write(path: Path, frames: FrameBatch, rows: int, commit_every: int) -> None:
    with RecordingWriter(path, about={}, bench={}, overwrite=True) as writer:
        for k, start in enumerate(range(0, len(frames), rows), 1):
            writer.add(frames.cut(start, min(start + rows, len(frames))))
            if k % commit_every == 0:
                writer.commit()


def stream(path: Path, rows: int) -> int:
    """Opens, reads all batches and closes: the number of frames."""
    with open_recording(path) as recording:
        return sum(len(b) for b in recording.batches(rows) if isinstance(b, FrameBatch))


def stream_alone(path: Path, rows: int) -> None:
    """What a process says that does nothing but stream."""
    count = stream(path, rows)
    wall, busy = spent(lambda: stream(path, rows))
    rate = f"{count / wall / 1e6:.1f} M frames/s"
    print(f"read, batches of {rows:,}: {wall:.3f} s, processor {busy:.3f} s, {rate}, peak memory {peak_memory()}")


def peak_memory() -> str:
    """Of this process, where the system tells."""
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    return next((line.split(":")[1].strip() for line in lines if line.startswith("VmHWM")), "unknown")


Samples = list[tuple[FloatArray, str, Int64Array, FloatArray]]


def samples(frames: FrameBatch) -> Samples:
    """Of each batch and message seven signals, of 2 to 16 bits."""
    out = []
    for start in range(0, len(frames), BATCH_ROWS):
        part = frames.cut(start, min(start + BATCH_ROWS, len(frames)))
        for identifier in np.unique(part.identifier).tolist():
            chosen = np.flatnonzero(part.identifier == identifier)
            t_s = (part.t_ns[chosen] - frames.t_ns[0]) / 1e9
            for k, bits in enumerate((2, 4, 16, 12, 8, 8, 8)):
                raw = (part.payload[chosen] >> np.uint64(8 * k) & np.uint64((1 << bits) - 1)).astype(np.int64)
                out.append((t_s, f"{identifier:X}.{k}", raw, raw * 0.5 - 40))
    return out


def export(path: Path, found: Samples) -> None:
    with SampleWriter(path) as writer:
        for t_s, name, raw, value in found:
            message, signal = name.split(".")
            labels = LABELS if signal == "0" else None
            writer.add(
                t_s=t_s, channel="body", message=message, signal=signal, raw=raw, value=value, labels=labels, unit="V"
            )  # fmt: skip


def spent(call: Callable[[], None]) -> tuple[float, float]:
    """Seconds by the clock and of the processor, the better of two runs."""
    runs = []
    for _ in range(2):
        begin, busy = time.perf_counter(), time.process_time()
        call()
        runs.append((time.perf_counter() - begin, time.process_time() - busy))
    return min(runs)


def main(count: int) -> None:
    frames = drive(count)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.duckdb"
        wall, busy = spent(lambda: write(path, frames, LIVE_ROWS, 10))
        print(f"written as a live run does: {busy / (count / 16_000):.2%} of one processor at 16,000 frames/s")
        wall, busy = spent(lambda: write(path, frames, BATCH_ROWS, 1 << 30))
        print(f"written at once: {wall:.2f} s, {path.stat().st_size / count:.2f} bytes a frame")
        for rows in (BATCH_ROWS, 20_000, 500_000):
            subprocess.run([sys.executable, __file__, "--stream", str(path), str(rows)], check=True)
        found = samples(frames.cut(0, min(count, 1_000_000)))
        rows = sum(len(t_s) for t_s, *_ in found)
        for name in ("samples.parquet", "samples.csv"):
            target = Path(folder) / name
            wall, busy = spent(lambda target=target: export(target, found))  # type: ignore[misc]
            size = target.stat().st_size / 1e6
            print(f"{rows:,} samples to {target.suffix}: {wall:.2f} s, processor {busy:.2f} s, {size:.1f} MB")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--stream"]:
        stream_alone(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
