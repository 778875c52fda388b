"""Speed of the BLF reader against python-can's and against unpacking alone; run by hand.

    python tests/benchmarks/bench_blf.py [FRAMES]

Writes a recording with python-can into a temporary folder, then reads it with all three, in
one process and one thread, twice, and prints the better run of each.
"""

import random
import sys
import tempfile
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import can

from busprobe.errors import Problems
from busprobe.sources.blf import FORMAT
from busprobe.sources.formats import BATCH_ROWS

IDENTIFIERS = 100


def write(path: Path, count: int) -> None:
    """Frames of 8 bytes: a counter, and bytes that do not pack well."""
    draw = random.Random(1)
    messages = [
        can.Message(arbitration_id=0x100 + row % IDENTIFIERS, is_extended_id=False, data=draw.randbytes(8), channel=0)
        for row in range(10 * IDENTIFIERS)
    ]
    with can.BLFWriter(path) as writer:
        for row in range(count):
            message = messages[row % len(messages)]
            message.timestamp = 1_700_000_000 + row * 1e-4
            message.data[0] = row & 0xFF
            message.data[1] = row >> 8 & 0xFF
            writer.on_message_received(message)


def read(path: Path) -> int:
    return sum(len(batch) for batch in FORMAT.read(path, Problems(strict=True), BATCH_ROWS))


def read_with_python_can(path: Path) -> int:
    with can.BLFReader(path) as reader:
        return sum(1 for _ in reader)


def unpack(path: Path) -> int:
    """Bytes of the containers, unpacked and thrown away: what no reader can be faster than."""
    content = path.read_bytes()
    size, at = 0, 144
    while at < len(content):
        length = int.from_bytes(content[at + 8 : at + 12], "little")
        size += len(zlib.decompress(content[at + 32 : at + length]))
        at += length + length % 4
    return size


def seconds(call: Callable[[Path], int], path: Path) -> float:
    best = float("inf")
    for _ in range(2):
        start = time.perf_counter()
        call(path)
        best = min(best, time.perf_counter() - start)
    return best


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.blf"
        write(path, count)
        assert read(path) == read_with_python_can(path) == count
        baseline = seconds(read_with_python_can, path)
        for name, spent in (
            ("python-can", baseline),
            ("busprobe", seconds(read, path)),
            ("unpacking alone", seconds(unpack, path)),
        ):
            print(f"{name:16} {spent:7.3f} s {count / spent:12,.0f} frames/s {baseline / spent:6.1f} x")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
