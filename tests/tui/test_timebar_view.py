"""The replay bar as values: where marks stand, which one wins, what a typed time means."""

from __future__ import annotations

import dataclasses
from datetime import UTC, timedelta, timezone

import fake_van
import numpy as np
import pytest
from fake_van import END, MARKS, MS, NOW, REPLAY, START, S, at

from busprobe.session.snapshot import Mark
from busprobe.tui.view.spans import plain
from busprobe.tui.view.timebar import (
    STEPS,
    Bar,
    Density,
    Scale,
    bar_lines,
    density,
    difference_rows,
    difference_title,
    mark_here,
    scale,
)
from busprobe.tui.view.typed_time import typed_time

TEN = Scale(0, 1000, 10)
NONE = np.empty(0, np.int64)
_SHAPES = "─╷◆▴▾?░✗"

DENSITIES = [
    ("nothing", [], [], "──────────"),
    ("edges at both ends", [0, 1000], [], "╷────────╷"),
    ("worst of a column wins", [310], [(320, "trigger"), (330, "failed"), (340, "gap")], "───✗──────"),
    ("one of each", [50], [(150, "trigger"), (250, "walk"), (350, "marker"), (450, "undecided"), (550, "gap"),
                           (650, "failed")], "╷◆▴▾?░✗───"),
    ("outside is kept at the ends", [-50, 5000], [], "╷────────╷"),
    ("a kind unknown draws nothing", [], [(500, "tea")], "──────────"),
]  # fmt: skip


@pytest.mark.parametrize(("edges", "marks", "drawn"), [r[1:] for r in DENSITIES], ids=[r[0] for r in DENSITIES])
def test_density(edges: list[int], marks: list[tuple[int, str]], drawn: str) -> None:
    line = density([Mark(t, kind, "") for t, kind in marks], np.array(edges, np.int64), TEN)
    assert "".join(_SHAPES[i] for i in line) == drawn


def test_what_lasts_is_drawn_where_nothing_else_is() -> None:
    marks = [Mark(0, "gap", "", 550), Mark(320, "trigger", ""), Mark(800, "gap", "", 810)]
    line = density(marks, np.array([150], np.int64), TEN)
    assert "".join(_SHAPES[i] for i in line) == "░╷░◆░───░─"


def test_density_is_worked_out_once_for_the_same_marks() -> None:
    kept = Density()
    first = kept.line(MARKS, NONE, "gear", TEN)
    assert kept.line(MARKS, NONE, "gear", TEN) is first
    assert kept.line(MARKS, NONE, "speed", TEN) is not first


def test_no_width_draws_nothing() -> None:
    assert len(density(MARKS, NONE, Scale(0, 1000, 0))) == 0


@pytest.mark.parametrize(("column", "t_ns"), [(0, 50), (5, 550), (9, 950)])
def test_a_column_stands_for_its_middle(column: int, t_ns: int) -> None:
    assert TEN.time(column) == t_ns
    assert TEN.column(t_ns) == column


def test_the_share_read_takes_its_share_of_the_width() -> None:
    half = dataclasses.replace(REPLAY, loaded=0.5)
    assert scale(half, 100).end_ns - START == 2 * (END - START)
    bar = Bar(STEPS[1], "gear")
    _, drawn = bar_lines(half, bar, density(MARKS, NONE, scale(half, 20)), MARKS, scale(half, 20))
    assert plain(drawn) == "◆░✗┃──◆─✗──·········"


WORDS = [
    ("paused", {}, Bar(STEPS[1], "gear"), 80, " ‖ paused 1×  03:20.000 of 10:12.0  ←→ edge of gear"),
    ("playing slowly", {"is_playing": True, "speed": 0.1}, Bar(STEPS[0], "gear"), 80,
     " ▶ playing 0.1×  03:20.000 of 10:12.0  ←→ frame"),
    ("A pinned", {}, Bar(STEPS[3], None, at(60)), 80,
     " ‖ paused 1×  03:20.000 of 10:12.0  ←→ failed occurrence  A 01:00.0"),
    ("being read", {"loaded": 0.456}, Bar(STEPS[2], None), 80,
     " ‖ paused 1×  03:20.000 of 10:12.0  ←→ trigger  45 % read, Esc stops"),
    ("no signal", {}, Bar(STEPS[1], None), 80, " ‖ paused 1×  03:20.000 of 10:12.0  ←→ edge of no signal"),
    ("at a mark", {"t_ns": at(142.1)}, Bar(STEPS[2], None), 90,
     " ‖ paused 1×  02:22.100 of 10:12.0  ←→ trigger  ✗ Beacons flash in step"),
    ("beside a mark", {"t_ns": at(141.3)}, Bar(STEPS[2], None), 90,
     " ‖ paused 1×  02:21.300 of 10:12.0  ←→ trigger  ✗ 02:22.100 Beacons flash in step"),
    ("at a frame", {"t_ns": NOW - 10 * MS}, Bar(STEPS[0], None), 90,
     " ‖ paused 1×  03:19.990 of 10:12.0  ←→ frame 0E4 TransmissionStatus and 3 more  ◆ 03:19.1…"),
    ("between frames", {"t_ns": NOW - 9 * MS}, Bar(STEPS[0], None), 90,
     " ‖ paused 1×  03:19.991 of 10:12.0  ←→ frame  ◆ 03:19.100 Rear door opens while moving"),
    ("narrow", {"t_ns": at(142.1)}, Bar(STEPS[2], None), 40, " ‖ paused 1×  02:22.100 of 10:12.0  ←→ …"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("fields", "bar", "width", "text"), [row[1:] for row in WORDS], ids=[row[0] for row in WORDS]
)  # fmt: skip
def test_words(fields: dict[str, object], bar: Bar, width: int, text: str) -> None:
    picture = dataclasses.replace(REPLAY, **fields)  # type: ignore[arg-type]
    on = scale(picture, width)
    marks = MARKS if "t_ns" in fields else ()
    words, drawn = bar_lines(picture, bar, density(marks, NONE, on), marks, on)
    assert plain(words).rstrip() == text
    assert len(plain(words)) == len(plain(drawn)) == width


def test_the_worst_mark_of_a_column_is_named() -> None:
    on = scale(REPLAY, 6)
    mark = mark_here(MARKS, at(120), on)
    assert mark is not None
    assert mark.kind == "failed"
    assert mark_here((), at(120), on) is None


EAST = timezone(timedelta(hours=1))
# START is 2026-01-09 23:06:40 UTC
TIMES = [
    ("90", at(90)), ("90.25", at(90.25)), ("90 s", at(90)), ("90s", at(90)), ("1 min", at(60)),
    ("1min 30.5 s", at(90.5)), ("1:30 s", at(90)),
    ("-1 min 5 s", NOW - 65 * S), ("0 h 2 min", at(120)), ("1:30", at(90)), ("0:01:30.5", at(90.5)),
    ("+10", NOW + 10 * S), ("-1:00", NOW - 60 * S), (" start ", START), ("END", END), ("a", at(60)),
    ("at 23:10:00", at(200)), ("at 23:10", at(200)), ("at 23:16:52", END),
    ("11:00", '"11:00" lies after the end of the recording.'),
    ("-5:00", '"-5:00" lies before the start of the recording.'),
    ("at 22:00", '"at 22:00" lies after the end of the recording.'),
    ("at 25:00", '"at 25:00" is no time of day.'),
    ("soon", '"soon" is no time. Write 90 · 1:30 · 1:02:03.4 · +10 · -10 · at 14:03:22 · end.'),
    ("3 min 2", '"3 min 2" is no time. Write 90 · 1:30 · 1:02:03.4 · +10 · -10 · at 14:03:22 · end.'),
    ("", '"" is no time. Write 90 · 1:30 · 1:02:03.4 · +10 · -10 · at 14:03:22 · end.'),
    ("1:2:3:4", '"1:2:3:4" is no time. Write 90 · 1:30 · 1:02:03.4 · +10 · -10 · at 14:03:22 · end.'),
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), TIMES, ids=[row[0].strip() for row in TIMES])
def test_typed_time(text: str, expected: int | str) -> None:
    assert typed_time(text, REPLAY, at(60), UTC) == expected


def test_a_time_of_day_is_of_this_place() -> None:
    assert typed_time("at 0:10", REPLAY, None, EAST) == at(200)


def test_after_midnight_is_the_next_day() -> None:
    long = dataclasses.replace(REPLAY, end_ns=START + 7200 * S)
    assert typed_time("at 00:06:40", long, None, UTC) == START + 3600 * S


def test_without_time_of_day_and_without_a() -> None:
    relative = dataclasses.replace(REPLAY, start_ns=0, t_ns=0, end_ns=100 * S)
    assert typed_time("at 10:00", relative) == (
        "This recording does not know the time of day. Write seconds or m:ss from its start."
    )
    assert typed_time("a", relative) == "No instant A is pinned yet: x pins one."


def test_differences_between_two_instants() -> None:
    """Conditions and labels first, quantities last; what is the same is left out."""
    before = tuple(
        dataclasses.replace(s, **({"code": 0, "text": "off", "edges": 1} if s.name == "rear_door" else
                                  {"text": "0 km/h", "edges": 2000} if s.name == "speed" else {}))
        for s in REPLAY.signals
    )  # fmt: skip
    pinned = dataclasses.replace(REPLAY, t_ns=at(60), signals=before)
    rows = difference_rows(pinned, REPLAY)
    assert [[plain(cell) for cell in row.cells] for row in rows] == [
        ["rear_door", "○ off", "● on", "2"],
        ["speed", "  0 km/h", "  12.4 km/h", "210"],
    ]
    assert rows[0].copy == "rear_door\tA 01:00.000: off\t03:20.000: on"
    assert difference_title(pinned, REPLAY, 2) == "2 signals differ between A (01:00.000) and now (03:20.000)"
    assert difference_title(pinned, REPLAY, 1) == "1 signal differs between A (01:00.000) and now (03:20.000)"
    assert difference_rows(REPLAY, REPLAY) == []


def test_edges_of_the_fake_van_lie_in_its_drive() -> None:
    assert all(0 < s < (END - START) / S for times in fake_van.EDGES.values() for s in times)
