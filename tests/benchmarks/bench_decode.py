"""Speed of decoding all signals beside cantools' `decode_message`, in one run; started by hand.

    python tests/benchmarks/bench_decode.py [frames]

The frames: 100 messages of 7 signals each, in random order; both byte orders, signed and unsigned,
scaled and not, every fifth signal with labels. Printed for 11-bit and for 29-bit identifiers.
"""

from __future__ import annotations

import platform
import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cantools
import numpy as np

from busprobe.decode.database import load
from busprobe.decode.messages import decode_rows
from busprobe.decode.routing import Router
from busprobe.frames import EXTENDED, FrameBatch

MESSAGES, SIGNALS, BATCH_ROWS = 100, 7, 131_072
CANTOOLS_FRAMES = 50_000


def dbc(is_extended: bool) -> str:
    source = random.Random(4)
    lines, labels = ['VERSION ""', "BU_: Node"], []
    for message in range(MESSAGES):
        identifier = 0x100 + 7 * message if not is_extended else 0x98FE0000 + 0x101 * message
        lines.append(f"BO_ {identifier} Message{message}: 8 Node")
        for number in range(SIGNALS):
            big = source.random() < 0.5
            start, length = 8 * number + 7 * big, source.choice((1, 2, 4, 8, 8))
            scale = source.choice(("1,0", "1,0", "0.01,0", "0.5,-40"))
            kind = f"{start}|{length}@{int(not big)}{source.choice('+-')}"
            lines.append(f' SG_ Signal{number} : {kind} ({scale}) [0|0] "" Node')
            if source.random() < 0.2:
                labels.append(f'VAL_ {identifier} Signal{number} 0 "off" 1 "on" ;')
    return "\n".join(lines + labels) + "\n"


def frames(count: int, identifiers: list[int], is_extended: bool) -> list[FrameBatch]:
    rng = np.random.default_rng(5)
    out = []
    for begin in range(0, count, BATCH_ROWS):
        n = min(BATCH_ROWS, count - begin)
        out.append(
            FrameBatch(
                np.arange(begin, begin + n) * 250_000,
                ("body",),
                np.zeros(n, np.uint8),
                np.array(identifiers, np.uint32)[rng.integers(0, len(identifiers), n)],
                np.full(n, EXTENDED * is_extended, np.uint8),
                np.full(n, 8, np.uint8),
                rng.integers(0, 2**64, n, dtype=np.uint64),
            )
        )
    return out


def ours(router: Router, batches: list[FrameBatch]) -> int:
    values = 0
    for batch in batches:
        for index, rows in router.split(batch):
            values += sum(len(s.value) for s in decode_rows(batch, rows, router.messages[index]))
    return values


def theirs(database: cantools.database.can.Database, pairs: list[tuple[int, bytes]]) -> int:
    return sum(len(database.decode_message(identifier, payload)) for identifier, payload in pairs)


def best(task: Callable[[], int], times: int) -> tuple[float, int]:
    shortest, result = float("inf"), 0
    for _ in range(times):
        begin = time.perf_counter()
        result = task()
        shortest = min(shortest, time.perf_counter() - begin)
    return shortest, result


def measure(count: int, is_extended: bool) -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.dbc"
        path.write_text(dbc(is_extended), "utf-8")
        database, reference = load(path), cantools.database.load_file(path)
    batches = frames(count, [m.identifier for m in database.messages], is_extended)
    router = Router([(None, m) for m in database.messages])
    some = batches[0].take(np.arange(min(CANTOOLS_FRAMES, len(batches[0]))))
    pairs = [(int(i), int(p).to_bytes(8, "little")) for i, p in zip(some.identifier, some.payload, strict=True)]
    slow, their_values = best(lambda: theirs(reference, pairs), 2)
    fast, our_values = best(lambda: ours(router, batches), 5)
    assert their_values * count == our_values * len(some)
    ratio = count / fast * slow / len(some)
    return (
        f"{29 if is_extended else 11}-bit: cantools {len(some) / slow:,.0f} frames/s, "
        f"busprobe {count / fast:,.0f} frames/s ({our_values / fast:,.0f} values/s), ratio {ratio:.0f}"
    )


def main(count: int) -> None:
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
    for is_extended in (False, True):
        print(measure(count, is_extended))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
