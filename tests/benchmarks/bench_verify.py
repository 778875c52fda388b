"""Time and memory of `verify` with 100 checks over long recordings, run by hand.

    python tests/benchmarks/bench_verify.py [FOLDER]

Makes recordings of 1, 3 and 10 million frames (100 messages, 4,000 frames/s) in FOLDER, or in a
temporary one, once, and verifies each in a process of its own; then 10 million frames in batches
of 20,000 to 500,000.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from busprobe.frames import FrameBatch
from busprobe.recording.write import RecordingWriter

MESSAGES = 100
RATE = 4000
START_NS = 1_700_000_000_000_000_000


def database() -> str:
    """100 messages of 7 signals: a switch, a lamp that follows it, a flasher, a speed, three fillers."""
    lines = ['VERSION ""', "", "BU_: A"]
    for m in range(MESSAGES):
        lines += [
            f"BO_ {256 + m} M{m:02d}: 8 A",
            ' SG_ Switch : 0|1@1+ (1,0) [0|1] "" A',
            ' SG_ Lamp : 1|1@1+ (1,0) [0|1] "" A',
            ' SG_ Flasher : 2|1@1+ (1,0) [0|1] "" A',
            ' SG_ Counter : 4|4@1+ (1,0) [0|15] "" A',
            ' SG_ Speed : 15|16@0+ (0.01,0) [0|655] "km/h" A',
            ' SG_ Temperature : 24|12@1- (0.1,0) [-204|204] "degC" A',
            ' SG_ Level : 40|16@1+ (0.5,10) [10|32777] "" A',
            "",
        ]
    return "\n".join(lines) + "\n"


def bench() -> str:
    parts = ['[vehicle]\nname = "long drive"\n[[bus]]\nname = "can0"\ndatabases = ["long.dbc"]\n[signals]\n']
    for m in range(MESSAGES):
        parts.append(f'sw{m} = {{ from = "can0.M{m:02d}.Switch" }}\nlamp{m} = {{ from = "can0.M{m:02d}.Lamp" }}\n')
        parts.append(f'fl{m} = {{ from = "can0.M{m:02d}.Flasher" }}\nspeed{m} = {{ from = "can0.M{m:02d}.Speed" }}\n')
    for c in range(100):
        rule = (
            f'when = "sw{c}"\nexpect = "lamp{c}"\nwithin = "300 ms"\nhold = "while when"\nsettle = "300 ms"',
            f'follows = "lamp{c}"\nwhen = "sw{c}"\non_within = "300 ms"\noff_within = "300 ms"',
            f"never = \"sw{c} and speed{c} > '500 km/h'\"",
            f'when = "rises(sw{c}) and speed{c} < \'400 km/h\'"\nexpect = "held(lamp{c}, \'200 ms\')"\nwithin = "1 s"',
            f'always = "flash_rate(fl{c}) < 130"',
        )[c % 5]
        parts.append(f'[[check]]\nname = "check {c}"\n{rule}\n')
    return "".join(parts)


def write(path: Path, frames: int) -> None:
    """Messages in turn, so that each comes every 25 ms, like a steady drive."""
    rng = np.random.default_rng(1)
    with RecordingWriter(path, about={}, bench={}, overwrite=True) as out:
        for start in range(0, frames, 500_000):
            row = np.arange(start, min(start + 500_000, frames))
            message = row % MESSAGES
            t_s = row / RATE
            phase = (t_s + message * 0.37) % 14.0
            switch = phase < 6.0
            lamp = (phase > 0.12) & (phase < 6.12)
            flasher = (t_s * 2.0 + message * 0.13) % 1.0 < 0.4
            speed = (5000 + 3000 * np.sin(t_s / 20 + message) + rng.integers(-20, 20, len(row))).astype(np.uint64)
            big = (speed >> np.uint64(8) | (speed & np.uint64(255)) << np.uint64(8)) & np.uint64(0xFFFF)
            payload = switch.astype(np.uint64) | lamp.astype(np.uint64) << np.uint64(1)
            payload |= flasher.astype(np.uint64) << np.uint64(2)
            payload |= (row // MESSAGES % 16).astype(np.uint64) << np.uint64(4) | big << np.uint64(8)
            payload |= rng.integers(0, 40, len(row)).astype(np.uint64) << np.uint64(24)
            payload |= rng.integers(0, 1000, len(row)).astype(np.uint64) << np.uint64(40)
            n = len(row)
            out.add(
                FrameBatch(
                    START_NS + row * (1_000_000_000 // RATE) + rng.integers(0, 50_000, n),
                    ("can0",), np.zeros(n, np.uint8), (256 + message).astype(np.uint32),
                    np.zeros(n, np.uint8), np.full(n, 8, np.uint8), payload,
                )
            )  # fmt: skip


def measure(recording: Path, bench_file: Path, batch_rows: int) -> dict[str, float]:
    """Run `verify` in a process of its own."""
    code = (
        "import json, resource, sys, time; from pathlib import Path; t = time.perf_counter();"
        "from busprobe.session.verifying import verify;"
        f"r = verify(Path({str(recording)!r}), Path({str(bench_file)!r}), batch_rows={batch_rows});"
        "print(json.dumps({'seconds': time.perf_counter() - t, 'frames': r.frames,"
        "'occurrences': sum(len(c.occurrences) for c in r.checks),"
        "'verdicts': sorted({c.verdict.value for c in r.checks}),"
        "'peak_mb': resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))"
    )
    start = time.perf_counter()
    out = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, env=os.environ)
    return json.loads(out.stdout) | {"process_s": time.perf_counter() - start}


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "long.dbc").write_text(database())
    bench_file = folder / "long.toml"
    bench_file.write_text(bench())
    for millions in (1, 3, 10):
        recording = folder / f"long_{millions}.duckdb"
        if not recording.exists():
            write(recording, millions * 1_000_000)
        found = measure(recording, bench_file, 131_072)
        size = recording.stat().st_size / millions / 1e6
        print(
            f"{millions:3d} M frames: {found['process_s']:5.2f} s, {found['process_s'] / millions:5.3f} s per M, "
            f"peak {found['peak_mb']:4.0f} MB, {found['occurrences']} occurrences, {found['verdicts']}, "
            f"{size:.1f} bytes a frame"
        )
    times = []
    for rows in (20_000, 50_000, 131_072, 500_000):
        found = measure(folder / "long_10.duckdb", bench_file, rows)
        times.append(found["process_s"])
        print(f"batches of {rows:7,d}: {found['process_s']:5.2f} s, peak {found['peak_mb']:4.0f} MB")
    print(f"spread over batch sizes: {100 * (max(times) / min(times) - 1):.0f} %")


if __name__ == "__main__":
    main()
