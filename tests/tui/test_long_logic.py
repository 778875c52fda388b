"""Logic after a long day: only what is in view is made, and only what is new is looked at."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Iterable

import pytest
from fake_scene import FakeScene
from fake_van import MS, START

from busprobe.grown import Growing, GrowingOccurrences
from busprobe.results import CheckResult, Occurrence, Outcome, TriggerEntry, Verdict
from busprobe.tui.app import BusprobeApp
from busprobe.tui.view import latency, logic
from busprobe.tui.view.latency import Axes, Marks, axis_signs, plot_lines
from busprobe.tui.view.logic import LogicRows, shown_triggers
from busprobe.tui.widgets.rows import Rows

MANY = 20_000


def occurrences(first: int, count: int) -> list[Occurrence]:
    draw = random.Random(first)
    found = []
    for number in range(first, first + count):
        t_ns = START + number * 330 * MS
        latency_ns = draw.randrange(20, 180) * MS
        part = ("on", "off")[number % 2]
        found.append(Occurrence(t_ns, t_ns + latency_ns, Outcome.PASSED, part, latency_ns, tight=number % 7 == 0))
    return found


def check_of(growing: GrowingOccurrences, rest: list[Occurrence] | None = None) -> CheckResult:
    return CheckResult(
        "Lamp follows", Verdict.PASS, growing.so_far(rest or []), "follows", "lamp follows turn", 200 * MS
    )


def entries(first: int, count: int) -> list[TriggerEntry]:
    names = ("Turn signal", "Rear door")
    return [
        TriggerEntry(names[n % 2], START + n * MS, START + n * MS, {"n": str(n)}) for n in range(first, first + count)
    ]


def test_rows_of_occurrences_are_made_for_those_looked_at_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[Occurrence] = []
    make = logic.occurrence_row
    monkeypatch.setattr(logic, "occurrence_row", lambda c, one, start: (made.append(one), make(c, one, start))[1])
    growing, kept = GrowingOccurrences(), LogicRows()
    growing.add(occurrences(0, MANY))
    check = check_of(growing)
    rows = kept.occurrences(check, START)
    assert len(rows) == MANY
    assert made == []
    assert rows[100:103] == [make(check, one, START) for one in check.occurrences[100:103]]
    assert len(made) == 3
    assert rows.place_of(make(check, check.occurrences[15_000], START).key) == 15_000  # type: ignore[attr-defined]
    assert rows.place_of("1 on") is None  # type: ignore[attr-defined]
    growing.add(occurrences(MANY, 1))
    again = kept.occurrences(check_of(growing), START)
    assert len(again) == MANY + 1
    assert again[101] is rows[101]
    assert len(made) == 3
    assert [row.key for row in again] == [make(check, one, START).key for one in growing.so_far([])]
    other = kept.occurrences(dataclasses.replace(check, name="Another"), START)
    assert other[101].copy.startswith("Another")


@pytest.mark.parametrize("words", ["", "rear", "n 1"])
def test_the_filter_of_the_log_looks_at_new_lines_alone(words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[str] = []
    plain = logic.matches
    monkeypatch.setattr(logic, "matches", lambda w, *texts: (looked.append(w), plain(w, *texts))[1])
    growing: Growing[TriggerEntry] = Growing()
    kept = LogicRows()

    def shown(upto: int | None = None, most: int | None = None) -> None:
        log = growing.so_far(entries(9000, 2))[:upto]
        looked.clear()
        rows = kept.triggers(log, words, START)
        assert most is None or len(looked) <= most
        assert [row.key for row in rows] == [f"{e.t_ns} {e.name}" for _, e in shown_triggers(log, words)]

    growing.add(entries(0, 500))
    shown()
    growing.add(entries(500, 3))
    shown(most=5)
    shown(100, most=0)
    shown(110, most=10)
    shown()
    growing.add(entries(100, 3))  # stamps have stepped back: another order
    shown()


def test_the_plot_draws_new_occurrences_alone_and_is_that_of_them_all(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = 0
    add = Marks.add

    def counted(self: Marks, ones: Iterable[Occurrence]) -> None:
        nonlocal drawn
        found = list(ones)
        drawn += len(found)
        add(self, found)

    monkeypatch.setattr(latency.Marks, "add", counted)
    growing, axes = GrowingOccurrences(), Axes()
    growing.add(occurrences(0, 3000))
    plot_lines(check_of(growing), 60, axes)
    at = 3000
    for step in (1, 2, 5, 1):
        growing.add(occurrences(at, step))
        at += step
        check = check_of(growing, occurrences(at, 2))
        drawn = 0
        lines = plot_lines(check, 60, axes)
        assert drawn <= step + 2
        assert lines == plot_lines(check, 60)
    long = dataclasses.replace(occurrences(at, 1)[0], outcome=Outcome.FAILED, latency_ns=900 * MS)
    earlier = dataclasses.replace(check, occurrences=check.occurrences[:50])
    for one in (check_of(growing, [long]), earlier, check):
        for width in (60, 80):
            assert plot_lines(one, width, axes) == plot_lines(one, width)
    on = [o for o in check.occurrences if o.part == "on"]
    assert axes.signs(check.occurrences, "on", 200 * MS, 250 * MS, 40) == axis_signs(on, 200 * MS, 250 * MS, 40)


async def test_a_new_occurrence_makes_the_rows_in_view_again_and_the_cursor_stays(
    live: FakeScene, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[Occurrence] = []
    make = logic.occurrence_row
    monkeypatch.setattr(logic, "occurrence_row", lambda c, one, start: (made.append(one), make(c, one, start))[1])
    growing = GrowingOccurrences()
    growing.add(occurrences(0, MANY))
    picture = live.picture
    live.picture = dataclasses.replace(picture, checks=(check_of(growing),))
    app = BusprobeApp(live)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("4")
        await pilot.pause()
        list_of = app.screen.query_one("#occurrences", Rows)
        list_of.focus()
        await pilot.press("end", "up")
        await pilot.pause()
        assert list_of.cursor == MANY - 2
        assert 0 < len(made) < 100
        key = list_of.selected.key if list_of.selected is not None else ""
        made.clear()
        growing.add(occurrences(MANY, 1))
        live.picture = dataclasses.replace(picture, checks=(check_of(growing),))
        app.pull_now()
        await pilot.pause()
        assert len(list_of.rows) == MANY + 1
        assert list_of.selected is not None
        assert (list_of.cursor, list_of.selected.key) == (MANY - 2, key)
        assert len(made) < 20
