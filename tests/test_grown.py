"""Sequences that only grow are what a list of the same items is, and so are their totals."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.grown import STEP, GrowingOccurrences, Grown, Occurrences, order, totals_of
from busprobe.results import Occurrence, Outcome
from busprobe.totals import Totals


def occurrence(draw: random.Random, t_ns: int) -> Occurrence:
    latency, late = draw.choice([(None, None), (draw.randrange(5), None), (None, draw.randrange(5, 9))])
    return Occurrence(
        t_ns, t_ns + draw.randrange(3), draw.choice(list(Outcome)), draw.choice(["on", "off"]), latency,
        tight=draw.random() < 0.2, came_after_ns=late, never_came=draw.random() < 0.1,
    )  # fmt: skip


def some(seed: int, count: int) -> list[Occurrence]:
    draw = random.Random(seed)
    return sorted((occurrence(draw, draw.randrange(2 * count + 1)) for _ in range(count)), key=order)


def plainly(ones: list[Occurrence]) -> dict[str, object]:
    """The totals as a sum over all."""
    came = [o for o in ones if o.latency_ns is not None or o.came_after_ns is not None]

    def taken(one: Occurrence) -> int:
        return (one.latency_ns or 0) + (one.came_after_ns or 0)

    found: dict[str, object] = {
        "newest": max(ones, key=lambda o: o.t_ns, default=None),
        "parts": list(dict.fromkeys(o.part for o in ones)),
    }
    for part in found["parts"]:  # type: ignore[attr-defined]
        of_it = [o for o in ones if o.part == part]
        found[part] = (
            [sum(o.outcome is outcome for o in of_it) for outcome in Outcome],
            of_it[0],
            max([o.latency_ns for o in of_it if o.latency_ns is not None], default=0),
            max([o for o in came if o.part == part], key=taken, default=None),
            sum(o.never_came for o in of_it),
        )
    return found


def told(totals: Totals) -> dict[str, object]:
    found: dict[str, object] = {"newest": totals.newest, "parts": list(totals.parts)}
    for name, part in totals.parts.items():
        counts = [part.count(outcome) for outcome in Outcome]
        assert counts == [totals.count(outcome, name) for outcome in Outcome]
        found[name] = (counts, part.first, part.longest_ns, part.worst, part.never_came)
    return found


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32), count=st.integers(0, 3 * STEP), pieces=st.integers(1, 9), rest=st.integers(0, 4))
def test_it_is_a_list_with_totals_at_every_length(seed: int, count: int, pieces: int, rest: int) -> None:
    ones = some(seed, count + rest)
    growing = GrowingOccurrences()
    seen: list[tuple[Occurrences, list[Occurrence]]] = []
    for piece in range(pieces):
        start, stop = piece * count // pieces, (piece + 1) * count // pieces
        growing.add(ones[start:stop])
        seen.append((growing.so_far(ones[stop : stop + rest]), ones[: stop + rest]))
    for grown, plain in seen:  # those given out before, too: they have not changed
        assert grown == plain
        assert list(grown) == plain
        assert list(reversed(grown)) == plain[::-1]
        assert told(grown.totals) == plainly(plain)
        assert [grown[i] for i in (0, -1) if plain] == [plain[i] for i in (0, -1) if plain]
        for cut in {0, 1, STEP, len(plain) - 1, len(plain) // 2}:
            assert grown[:cut] == plain[:cut]
            assert isinstance(grown[:cut], Occurrences)
            assert told(totals_of(grown[:cut])) == plainly(plain[:cut])
            assert grown[-max(cut, 1) :] == plain[-max(cut, 1) :]
            assert grown[cut::2] == plain[cut::2]
        with pytest.raises(IndexError):
            grown[len(plain)]
    first, last = seen[0][0], seen[-1][0]
    assert last.shared_with(first) == first.firm


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32), counts=st.lists(st.integers(0, 40), min_size=1, max_size=6), rest=st.integers(0, 3))
def test_after_stamps_that_step_back_it_is_in_order_all_the_same(seed: int, counts: list[int], rest: int) -> None:
    growing = GrowingOccurrences()
    all_of_it: list[Occurrence] = []
    before: tuple[Occurrences, list[Occurrence]] | None = None
    for number, count in enumerate(counts):
        more, later = some(seed + number, count), some(seed + 99 + number, rest)
        growing.add(more)
        all_of_it += more
        grown, plain = growing.so_far(later), sorted([*all_of_it, *later], key=order)
        assert [id(o) for o in grown] == [id(o) for o in plain]
        assert told(grown.totals) == plainly(plain)
        if before is not None:
            assert before[0] == before[1]
        before = (grown, plain)


def test_it_is_no_other_kind_of_thing_and_is_not_hashed() -> None:
    grown = Grown([1, 2, 3], 2, (5,))
    assert grown == (1, 2, 5)
    assert grown != [1, 2]
    assert grown != {1, 2, 5}
    assert repr(grown) == "[1, 2, 5]"
    assert grown.shared_with([1, 2, 5]) == 0
    with pytest.raises(TypeError):
        hash(grown)
