"""Triggers: a line whenever a condition begins to hold, wherever the data are cut."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from stepped import MS, run

from busprobe.checks.watching import Watcher
from busprobe.results import TriggerEntry

DOOR = {"d": "0 F, 1000 T, 1500 F, 2000 T", "m": "0 F, 1200 T"}


def logged(on: str, signals: dict[str, str], *, more: str = "", cuts: Sequence[float] = ()) -> list[TriggerEntry]:
    _, entries = run(signals, f'[[trigger]]\nname = "t"\non = "{on}"\n{more}', 3000, cuts_ms=cuts)
    return entries


@pytest.mark.parametrize("cuts", [(), (1000, 1000.000001, 1800, 2000)], ids=["whole", "cut"])
@pytest.mark.parametrize(
    ("on", "times"),
    [
        ("rises(d) and m", [2000]),
        ("rises(d)", [1000, 2000]),
        ("changes(d)", [1000, 1500, 2000]),
        ("d", [1000, 2000]),
        ("d and m", [1200, 2000]),
        ("not d", [1500]),
    ],
)
def test_when_it_is_logged(on: str, times: list[int], cuts: Sequence[float]) -> None:
    """At every instant of an event, and whenever a condition goes from known false to true."""
    entries = logged(on, DOOR, cuts=cuts)
    assert [(e.name, e.t_ns, e.decided_ns) for e in entries] == [("t", t * MS, t * MS) for t in times]


def test_what_the_signals_said() -> None:
    first, second = logged("rises(d)", DOOR)
    assert (first.signals, second.signals) == ({"d": "1.0"}, {"d": "1.0"})
    assert dict(logged("d and m", DOOR)[0].signals) == {"d": "1.0", "m": "1.0"}


def test_unknown_is_no_beginning() -> None:
    assert logged("d", {"d": "0 ?, 1000 T, 1500 z, 2000 T"}) == []


def test_span_to_keep() -> None:
    (entry,) = logged("rises(d) and m", DOOR, more='keep = { before = "2 s", after = "5 s" }\n')
    assert (entry.keep_from_ns, entry.keep_to_ns) == (0, 7000 * MS)
    (entry,) = logged("rises(d) and m", DOOR, more='keep = { after = "5 s" }\n')
    assert (entry.keep_from_ns, entry.keep_to_ns) == (2000 * MS, 7000 * MS)
    (entry,) = logged("rises(d) and m", DOOR)
    assert (entry.keep_from_ns, entry.keep_to_ns) == (None, None)


def test_told_later_than_it_happened() -> None:
    """A lamp flashes from its first flash, which is told at its second: by then it is logged, not before."""
    told: list[tuple[int, int]] = []

    def after_piece(upto: int, watchers: Sequence[Watcher]) -> None:
        told.append((upto // MS, sum(len(w.done) for w in watchers)))  # type: ignore[attr-defined]

    check = '[[trigger]]\nname = "t"\non = "flashing(x)"\n'
    lamp = {"x": "0 F, 4000 T, 4200 F, 4700 T, 4900 F"}
    _, (entry,) = run(lamp, check, 9000, cuts_ms=[4700, 4701], after_piece=after_piece)
    assert (entry.t_ns, entry.decided_ns) == (4000 * MS, 4700 * MS)
    assert told[:2] == [(4700, 0), (4701, 1)]
