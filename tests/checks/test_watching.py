"""When a watched condition begins to hold, and when it holds without having been seen to begin."""

from __future__ import annotations

import numpy as np
import pytest
from stepped import MS, StepLeaf, run

from busprobe.checks.network import Network
from busprobe.checks.watching import Watched, rises
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN


def watched(points: str, *, code: int, is_event: bool = False, quiet: tuple[int, ...] = ()) -> Watched:
    leaf = StepLeaf(points, quantity=False, sampling_ms=0)
    leaf.advance(1000 * MS)
    leaf.timeline.quiet = np.array([t * MS for t in quiet], np.int64)
    network = Network({"x": leaf})
    return Watched(network, network.signal("x"), is_event, code)


@pytest.mark.parametrize(
    ("points", "code", "quiet", "begins", "unseen"),
    [
        ("10 T, 20 F, 30 T, 40 ?, 50 T, 60 z, 70 T, 80 F", FALSE, (), [10, 30], [50, 70]),
        ("10 T, 20 F", TRUE, (), [], []),
        ("10 T, 20 F", UNKNOWN, (), [], [10]),
        ("10 T, 20 F", ASLEEP, (), [], [10]),
        ("10 F, 20 T, 30 F, 40 T, 50 F", FALSE, (20, 50), [40], [20]),
        ("", FALSE, (), [], []),
    ],
    ids=["seen and unseen", "true before", "unknown before", "asleep before", "another source takes over", "nothing"],
)
def test_beginnings(points: str, code: int, quiet: tuple[int, ...], begins: list[int], unseen: list[int]) -> None:
    found = rises(watched(points, code=code, quiet=quiet), 0, 90 * MS)
    assert [(times // MS).tolist() for times in found] == [begins, unseen]


def test_every_instant_of_an_event_is_a_beginning() -> None:
    found = rises(watched("10 T, 20 ?, 30 T, 40 F, 50 T", code=ASLEEP, is_event=True), 20 * MS, 50 * MS)
    assert [(times // MS).tolist() for times in found] == [[30], []]


@pytest.mark.parametrize(
    ("when", "w", "unseen"),
    [
        ("w", "0 F, 100 T", 0),
        ("w", "0 T, 100 F, 200 T", 1),
        ("w", "0 ?, 100 T, 200 z, 300 T, 400 T", 2),
        ("rises(w)", "0 ?, 100 T", 0),
    ],
)
def test_starts_not_seen_are_counted(when: str, w: str, unseen: int) -> None:
    check = f'[[check]]\nname = "c"\nwhen = "{when}"\nexpect = "x"\nwithin = "300 ms"\n'
    for cuts in ([], list(range(0, 500, 50))):
        (found,), _ = run({"w": w, "x": "0 F"}, check, 500, cuts_ms=cuts)
        assert found.start_not_seen == unseen
