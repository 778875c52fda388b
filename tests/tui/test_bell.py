"""From an edge to the terminal's bell during the walk: whoever stands at the rear door hears it at once."""

from __future__ import annotations

import statistics
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals here", allow_module_level=True)

from bell_rig import DEBOUNCE_MS, PERIOD_S, SOURCES, walking

from busprobe.session.live import SOONEST_S
from busprobe.sources.live import BATCH_NS, SHORTEST_NS
from busprobe.tui.screens.walk import FAST_S

WITHIN_S = 0.2
GENEROUS_S = 1.0
"""For the median on a machine that is busy with other tests; `tests/benchmarks/bench_bell.py` measures."""
EDGES, MOST_EDGES = 6, 40


@pytest.mark.parametrize("what", SOURCES)
def test_an_edge_is_heard(what: str, tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    """The real program; some edge at least comes through unhindered."""
    took = []
    with walking(tmp_path, what) as walk:
        while len(took) < EDGES or (len(took) < MOST_EDGES and min(took) > WITHIN_S):
            took += [walk.edge_to_bell(), walk.edge_to_bell()]
            walk.ask_again()
    told = f"{what} to bell: {', '.join(f'{1000 * t:.0f}' for t in sorted(took))} ms"
    print(told)
    record_property("edge to bell", told)
    assert min(took) <= WITHIN_S, told
    assert statistics.median(took) <= GENEROUS_S, told


def test_what_each_part_may_take_adds_up() -> None:
    """An edge just after a poll, its debounce, a batch just begun, an evaluation and a picture just over."""
    batch_s = (BATCH_NS + SHORTEST_NS) / 1e9
    assert PERIOD_S + DEBOUNCE_MS / 1e3 + batch_s + SOONEST_S + FAST_S <= WITHIN_S
