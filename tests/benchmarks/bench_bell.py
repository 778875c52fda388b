"""From an edge to the bell of the guided walk, run by hand.

    python tests/benchmarks/bench_bell.py [EDGES]

The real program in a pseudo-terminal of 80x24, live, the walk asking for a door, the bell on. Two
kinds of edges at chance times: of a wire (a text-lines box on a pseudo-terminal, printed every
10 ms, debounced for 20 ms) and of a bus signal (udp_multicast). Timed from the change of the level,
for a wire some time before the next poll, to the BEL byte read back.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tui"))

from bell_rig import DEBOUNCE_MS, SOURCES, walking

EDGES = 60
AT_A_TIME = 4
"""Edges after which the walk asks anew: with six of them it is content."""


def measure(what: str, edges: int) -> list[float]:
    """Times in ms, in order of size."""
    took, chance = [], random.Random(1)
    with tempfile.TemporaryDirectory() as folder, walking(Path(folder), what) as walk:
        while len(took) < edges:
            for _ in range(AT_A_TIME):
                walk.rest(chance.uniform(0.3, 0.5))
                took.append(1000 * walk.edge_to_bell())
            walk.ask_again()
    return sorted(took)


def main(arguments: list[str]) -> None:
    edges = int(arguments[0]) if arguments else EDGES
    print(f"{os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    for what in SOURCES:
        took = measure(what, edges)
        about = f" (debounce of {DEBOUNCE_MS} ms in it)" if what == "wire" else ""
        print(
            f"{what:>5} to bell: {len(took)} edges, median {statistics.median(took):.0f} ms, "
            f"p95 {took[int(len(took) * 0.95)]:.0f} ms, most {took[-1]:.0f} ms{about}",
            flush=True,
        )


if __name__ == "__main__":
    main(sys.argv[1:])
