"""How far a recording is complete after each window, as literal rows."""

from __future__ import annotations

import numpy as np
import pytest

from busprobe.recording.windows import STEP_NS, complete_after

S = STEP_NS
# Rows: (window, channel, least time, last time); then the final time and the bounds wanted.
CASES = {
    "in order": ([(0, 0, 10, 20), (1, 0, 20, 30), (2, 0, 31, 40)], 40, [20, 31, 40]),
    "two channels overlap": ([(0, 0, 10, 20), (0, 1, 5, 8), (1, 1, 15, 18), (2, 0, 21, 40)], 40, [15, 21, 40]),
    "looks past the next window": ([(0, 0, 10, 20), (1, 0, 25, 30), (2, 1, 19, 40)], 40, [19, 19, 40]),
    "window of late rows only": ([(0, 0, 10, 20), (2, 0, 30, 40)], 40, [30, 30, 40]),
    "final bound recorded": ([(0, 0, 10, 20)], 99, [99]),
    "nothing at all": ([], 7, [7]),
    "step back of 1 s is none": ([(0, 0, 0, 2 * S), (1, 0, S, 3 * S)], 3 * S, [S, 3 * S]),
    "new segment": (
        [(0, 0, 5 * S, 9 * S), (1, 0, 2 * S, 3 * S), (2, 0, 3 * S, 4 * S)],
        4 * S,
        [8 * S, 3 * S, 4 * S],
    ),
    "new segment within the first window": (
        [(0, 0, 2 * S, 3 * S), (1, 0, 3 * S, 4 * S)],
        4 * S,
        [3 * S, 4 * S],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_complete_after(case: str) -> None:
    rows, final, expected = CASES[case]
    columns = np.array(rows, np.int64).reshape(-1, 4).T
    assert complete_after(len(expected), *columns, final).tolist() == expected
