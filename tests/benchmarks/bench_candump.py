"""Speed of the candump reader beside python-can's, in one run; started by hand.

    python tests/benchmarks/bench_candump.py [frames]

The frames of the file: 100 identifiers, 8 bytes each, 4000 frames a second. Further files
show that mixed lengths, interfaces and CAN FD stay fast.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import can

from busprobe.errors import Problems
from busprobe.sources.candump import FORMAT
from busprobe.sources.formats import BATCH_ROWS

FD_LENGTHS = (0, 3, 8, 12, 16, 20, 24, 32, 48, 64)


def lines(count: int, rest: Callable[[random.Random, int], str]) -> Iterator[str]:
    source = random.Random(2)
    for row in range(count):
        t_us = 1_436_509_052_249_713 + row * 250
        yield f"({t_us // 1_000_000}.{t_us % 1_000_000:06d}) {rest(source, row)}\n"


def plain(source: random.Random, row: int) -> str:
    return f"can0 {0x100 + 7 * (row % 100):03X}#{source.randbytes(8).hex().upper()}"


def mixed(source: random.Random, row: int) -> str:
    identifier = f"{0x18FEF100 + row % 50:08X}" if row % 3 == 0 else f"{0x100 + row % 50:03X}"
    name = ("can0", "vcan1", "body")[source.randrange(3)]
    mark = ("", " R", " T")[row % 3]
    return f"{name} {identifier}#{source.randbytes(source.randrange(9)).hex().upper()}{mark}"


def flexible(source: random.Random, row: int) -> str:
    data = source.randbytes(FD_LENGTHS[source.randrange(len(FD_LENGTHS))]).hex().upper()
    return f"can0 {0x100 + row % 50:03X}##1{data}" if row % 2 else plain(source, row)


def best(action: Callable[[], int], repeats: int) -> tuple[float, int]:
    """Least seconds of some runs, and the frames read."""
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        frames = action()
        seconds.append(time.perf_counter() - start)
    return min(seconds), frames


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        for rest in (plain, mixed, flexible):
            path = Path(folder) / f"{rest.__name__}.log"
            path.write_text("".join(lines(count, rest)))
            ours, frames = best(lambda: sum(len(b) for b in FORMAT.read(path, Problems(), BATCH_ROWS)), 5)  # noqa: B023
            theirs, expected = best(lambda: sum(1 for _ in can.CanutilsLogReader(path)), 1)  # noqa: B023
            assert frames == expected == count
            print(
                f"{rest.__name__:9} busprobe {count / ours / 1e6:6.2f} M frames/s, "
                f"python-can {count / theirs / 1e6:5.3f} M frames/s, ratio {theirs / ours:6.1f}"
            )


if __name__ == "__main__":
    main()
