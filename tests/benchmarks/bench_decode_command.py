"""Speed of the whole command `busprobe decode` to Parquet beside python-can and cantools, in one run; by hand.

    python tests/benchmarks/bench_decode_command.py [frames]

100 messages of 7 signals: both byte orders, signed, scaled, enumerated; 4000 frames a second.
The other side reads with python-can and decodes with cantools' `decode_message`, writing nothing.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import can
import cantools
import duckdb

MESSAGES = 100
SIGNALS = (
    "Run : 0|2@1+ (1,0) [0|3] \"\"",
    "Counter : 4|4@1+ (1,0) [0|15] \"\"",
    "Speed : 8|16@1+ (0.01,0) [0|655.35] \"km/h\"",
    "Torque : 31|12@0- (0.5,-100) [-1124|923.5] \"Nm\"",
    "Level : 40|8@1+ (0.4,0) [0|102] \"%\"",
    "Heat : 48|8@1+ (1,-40) [-40|215] \"degC\"",
    "Volts : 63|8@0+ (0.1,0) [0|25.5] \"V\"",
)  # fmt: skip


def identifier(k: int) -> int:
    return 0x100 + 7 * k


def database() -> str:
    parts = ['VERSION ""', "", "BU_: Van", ""]
    for k in range(MESSAGES):
        parts.append(f"BO_ {identifier(k)} Message{k}: 8 Van")
        parts += [f" SG_ {signal} Van" for signal in SIGNALS]
        parts.append("")
    parts += [f'VAL_ {identifier(k)} Run 0 "Off" 1 "Ready" 2 "Running" 3 "Fault" ;' for k in range(MESSAGES)]
    return "\n".join(parts) + "\n"


def candump(frames: int) -> str:
    source = random.Random(3)
    lines = []
    for row in range(frames):
        t_us = 1_768_374_000_000_000 + row * 250
        payload = source.randbytes(8).hex().upper()
        lines.append(f"({t_us // 1_000_000}.{t_us % 1_000_000:06d}) can0 {identifier(row % MESSAGES):03X}#{payload}\n")
    return "".join(lines)


def command(log: Path, dbc: Path, target: Path) -> float:
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "busprobe", "decode", str(log), "--database", str(dbc), "--to", str(target)],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return time.perf_counter() - begin


def baseline(log: Path, dbc: Path) -> float:
    known = cantools.database.load_file(dbc)
    begin = time.perf_counter()
    for message in can.CanutilsLogReader(log):
        known.decode_message(message.arbitration_id, message.data, decode_choices=True)
    return time.perf_counter() - begin


def main() -> None:
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        log, dbc, target = (Path(folder) / name for name in ("drive.log", "bus.dbc", "drive.parquet"))
        log.write_text(candump(frames))
        dbc.write_text(database())
        ours = [command(log, dbc, target) for _ in range(3)]
        theirs = baseline(log, dbc)
        ((rows,),) = duckdb.sql(f"SELECT count(*) FROM '{target}'").fetchall()
        assert rows == frames * len(SIGNALS)
        told = ", ".join(f"{seconds:.2f}" for seconds in ours)
        print(f"busprobe decode, whole process: {min(ours):.2f} s (of {told}), {rows:,} rows")
        rate = f"{frames / theirs:,.0f} frames/s"
        print(f"python-can and cantools: {theirs:.2f} s, {rate}; ratio {theirs / min(ours):.1f}")


if __name__ == "__main__":
    main()
