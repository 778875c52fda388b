"""Rows from pictures: literal tables, no terminal."""

from __future__ import annotations

import dataclasses
import re

import fake_van
import numpy as np
import pytest
from fake_van import ASLEEP, MS, OFF, ON, UNKNOWN, S, at

from busprobe.engine.history import Bounce
from busprobe.session.snapshot import RecorderNow
from busprobe.session.strips import Strip
from busprobe.tui.view.blocks import FONT, biggest, large, small
from busprobe.tui.view.footline import Item, footline
from busprobe.tui.view.headline import headline
from busprobe.tui.view.health import problem_rows, recording_lines, source_rows, sources_title
from busprobe.tui.view.history import bars, history
from busprobe.tui.view.signals import ORDERS, signal_rows
from busprobe.tui.view.spans import Column, Span, Tone, fit, matches, plain, printable, share
from busprobe.tui.view.tiles import height_wanted, tile_lines, tile_signals
from busprobe.tui.view.tiles import title as tiles_title
from busprobe.tui.view.times import clock, size, span
from busprobe.tui.view.values import fresh_cell, value_cell


@pytest.mark.parametrize(
    ("ns", "digits", "text"),
    [
        (0, 1, "00:00.0"),
        (199_100 * MS, 1, "03:19.1"),
        (59_999 * MS, 1, "00:59.9"),
        (3_723 * S + 4 * MS, 3, "1:02:03.004"),
        (-1_500 * MS, 1, "-00:01.5"),
        (61 * S, 0, "01:01"),
        (-4 * MS, 1, "00:00.0"),
    ],
)
def test_clock(ns: int, digits: int, text: str) -> None:
    assert clock(ns, digits) == text


@pytest.mark.parametrize(
    ("ns", "text"),
    [
        (0, "0 ms"),
        (300_000, "0.30 ms"),
        (8 * MS, "8.0 ms"),
        (20 * MS, "20 ms"),
        (1_200 * MS, "1.2 s"),
        (185 * S, "3 min 05 s"),
        (3_600 * S, "1 h 00 min"),
        (-20 * MS, "-20 ms"),
        (-4_000, "0 ms"),
    ],
)
def test_span(ns: int, text: str) -> None:
    assert span(ns) == text


@pytest.mark.parametrize(
    ("count", "text"),
    [(0, "0 B"), (999, "999 B"), (1_830_000, "1.8 MB"), (48_200_000_000, "48.2 GB"), (512_000_000, "512 MB")],
)
def test_size(count: int, text: str) -> None:
    assert size(count) == text


@pytest.mark.parametrize(
    ("align", "width", "text"),
    [
        ("left", 8, "ab cd   "),
        ("right", 8, "   ab cd"),
        ("end", 8, "   ab cd"),
        ("left", 4, "ab …"),
        ("end", 3, " cd"),
        ("left", 5, "ab cd"),
        ("left", 1, "…"),
        ("left", 0, ""),
    ],
)
def test_fit(align: str, width: int, text: str) -> None:
    assert plain(fit((Span("ab "), Span("cd")), width, align)) == text


def test_fit_counts_cells_of_wide_signs() -> None:
    assert plain(fit((Span("車両番号"),), 6)) == "車両 …"


@pytest.mark.parametrize(
    ("width", "expected"),
    [
        (40, [(0, 20), (1, 10), (2, 8)]),
        (30, [(0, 10), (1, 10), (2, 8)]),
        (29, [(0, 20), (2, 8)]),
        (12, [(0, 12)]),
        (5, [(0, 5)]),
    ],
    ids=["grows", "just fits", "drops the second", "drops both", "never the first"],
)
def test_share_of_columns(width: int, expected: list[tuple[int, int]]) -> None:
    columns = (Column("a", 10, grow=1), Column("b", 10, drop=2), Column("c", 8, drop=1))
    assert share(columns, width) == expected


@pytest.mark.parametrize(
    ("width", "expected"), [(29, [10, 10, 7]), (26, [10, 10, 4]), (25, [10, 10]), (15, [10, 4]), (14, [10]), (3, [3])]
)
def test_columns_that_are_never_dropped_are_cut_at_the_edge(width: int, expected: list[int]) -> None:
    columns = (Column("a", 10), Column("b", 10), Column("c", 8))
    assert [w for _, w in share(columns, width)] == expected


def test_filter_wants_every_word() -> None:
    assert matches("DOOR box", "rear_door", "box.rear_door_pin")
    assert not matches("door body", "rear_door", "box.rear_door_pin")
    assert matches("", "anything")


def test_signs_that_would_break_a_line_are_blanks() -> None:
    assert printable("van 12\tA\nB\x1b[31m") == "van 12 A B [31m"
    assert printable("-3 °C · ● 車両") == "-3 °C · ● 車両"


# --- header and footer


def test_headline_has_all_that_must_stay_in_view() -> None:
    first, second = headline(fake_van.LIVE, 80)
    assert plain(first) == " Harrowdale County Roads, winter patrol van 12      LIVE  ● REC 1.8 MB  03:20.0 "
    assert plain(second) == " ✗ 1 of 7 checks failed, 1 undecided     ◆ 03:19.1 Rear door opens while moving "


@pytest.mark.parametrize("width", [40, 60, 80, 120, 200])
@pytest.mark.parametrize("picture", ["LIVE", "REPLAY", "TROUBLE", "EMPTY"])
def test_headline_fills_any_width(picture: str, width: int) -> None:
    for line in headline(getattr(fake_van, picture), width, held=True):
        assert len(plain(line)) == width


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"recorder": None}, "○ not recording"),
        ({"recorder": fake_van.RECORDER_FULL}, "✗ recording stopped"),
        ({"recorder": fake_van.RECORDER_CLOSING}, "○ recording is being closed"),
        ({"mode": "replay", "title": "drive.log", "loaded": 0.42}, "REPLAY, 42% read"),
        ({"failure": "The bus is gone."}, "✗ The bus is gone."),
        ({"sources": (fake_van.SOURCE_LOST,)}, "✗ 1 source down"),
        ({"checks": ()}, "no checks"),
        ({"triggers": ()}, "no trigger yet"),
        ({"mode": "replay"}, "✗ 1 of 7 checks failed by now, 1 undecided"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_headline_says(fields: dict[str, object], words: str) -> None:
    picture = dataclasses.replace(fake_van.LIVE, **fields)  # type: ignore[arg-type]
    assert words in "".join(plain(line) for line in headline(picture, 120))


@pytest.mark.parametrize("recorder", [None, fake_van.RECORDER_FULL, fake_van.LIVE.recorder], ids=["no", "over", "on"])
def test_the_time_is_never_cut_from_a_narrow_headline(recorder: RecorderNow | None) -> None:
    picture = dataclasses.replace(fake_van.LIVE, recorder=recorder, t_ns=fake_van.START + 4_000 * 1_000_000_000)
    assert plain(headline(picture, 40)[0]).endswith(" 1:06:40.0 ")


_KEYS = [Item("?", "Help", "help"), Item("c", "Commands", "c"), Item("q", "Quit", "q"), Item("y", "Copy", "y")]
_SCREENS = [Item("1", "State", "go1", True), Item("2", "Frames", "go2"), Item("5", "Health", "go5")]


@pytest.mark.parametrize(
    ("width", "text"),
    [
        (80, " ? Help ▸1 State  2 Frames  5 Health  c Commands  q Quit  y Copy "),
        (60, " ? Help ▸1 State  2 Frames  5 Health  c Commands  q Quit "),
        (47, " ? Help ▸1 State  2 Frames  5 Health  c  q "),
        (38, " ? Help ▸1  2  5  c Commands  q Quit "),
        (26, " ? Help ▸1  2  5  c  q "),
    ],
)
def test_footline_gives_up_words_before_keys(width: int, text: str) -> None:
    spans, places = footline(_KEYS, _SCREENS, width)
    assert plain(spans) == text
    assert [place.action for place in places][:4] == ["help", "go1", "go2", "go5"]
    assert plain(spans)[places[0].start : places[0].end] == " ? Help "


# --- state board


def test_values_are_words_and_shapes() -> None:
    texts = {s.name: plain(value_cell(s)) for s in fake_van.SIGNALS}
    assert texts["rear_door"] == "● on"
    assert texts["side_door"] == "○ off"
    assert texts["driver_door"] == "? unknown (not seen yet)"
    assert texts["speed"] == "  12.4 km/h"


def test_unknown_never_looks_like_off() -> None:
    brake = next(s for s in fake_van.SIGNALS if s.name == "brake")
    cells = {}
    for code, text in ((OFF, "off"), (ON, "on"), (UNKNOWN, "unknown (lost)"), (ASLEEP, "unknown (asleep)")):
        cells[code] = value_cell(dataclasses.replace(brake, code=code, text=text))
    assert len({plain(c)[0] for c in cells.values()}) == 4
    assert len({c[0].tone for c in cells.values()}) == 4


@pytest.mark.parametrize(
    ("age", "max_age", "text"),
    [
        (12 * MS, 300 * MS, "<0.1 s"),
        (270 * MS, 300 * MS, "200 ms"),
        (2_100 * MS, 300 * MS, "old 2.1 s"),
        (150 * S, 3_600 * S, "2 min"),
        (None, None, "–"),
        (4 * MS, None, "<0.1 s"),
        (12_340 * MS, None, "12.3 s"),
    ],
)
def test_how_fresh(age: int | None, max_age: int | None, text: str) -> None:
    signal = dataclasses.replace(fake_van.SIGNALS[0], age_ns=age, max_age_ns=max_age)
    assert plain(fresh_cell(signal)) == text


def test_how_fresh_before_the_first_sample() -> None:
    driver_door = next(s for s in fake_van.SIGNALS if s.name == "driver_door")
    assert plain(fresh_cell(driver_door)) == "not seen"


def test_a_row_says_all_of_a_signal() -> None:
    row = next(row for row in signal_rows(fake_van.LIVE, "", ORDERS[0]) if row.key == "rear_white")
    assert [plain(c) for c in row.cells[:5]] == ["rear_white", "● on", "03:18.3", "<0.1 s", "7"]
    assert [plain(c) for c in row.cells[6:]] == ["output", "box.rear_white"]
    assert row.as_text() == "rear_white\ton since 03:18.310\t7 edges\tbox.rear_white\tat 03:20.000"


@pytest.mark.parametrize(
    ("order", "first"),
    [
        ("bench file", ["gear", "speed"]),
        ("newest change", ["rpm", "speed"]),
        ("edges", ["rpm", "battery"]),
        ("name", ["aux_feed", "battery"]),
    ],
)
def test_orders(order: str, first: list[str]) -> None:
    assert [row.key for row in signal_rows(fake_van.LIVE, "", order)][:2] == first


def test_filter_looks_at_name_source_value_kind_and_role() -> None:
    def found(words: str) -> set[str]:
        return {row.key for row in signal_rows(fake_van.LIVE, words, ORDERS[0])}

    assert found("door box") == {"rear_door", "side_door", "door_alert"}
    assert found("output on") >= {"rear_white", "aux_feed"}
    assert found("unknown") == {"driver_door"}
    assert found("no such thing") == set()


@pytest.mark.parametrize(
    ("codes", "values", "text"),
    [
        ([0, 1, 2, 3], None, "▁█?z"),
        ([1, 1, 1], [0.0, 5.0, 10.0], "▁▅█"),
        ([1, 2, 3, 1], [7.0, np.nan, np.nan, 7.0], "▁?z▁"),
        ([2, 3], [np.nan, np.nan], "?z"),
        ([4, 4, 0, 1], None, "··▁█"),
        ([4, 1, 1], [np.nan, 3.0, 4.0], "·▁█"),
        ([], None, ""),
    ],
    ids=["condition", "quantity", "steady with a gap", "never known", "unseen", "a quantity unseen", "nothing"],
)
def test_history(codes: list[int], values: list[float] | None, text: str) -> None:
    strip = Strip(bytes(codes), None if values is None else tuple(values))
    assert bars(strip) == text
    assert plain(history(strip, 100)) == text
    assert plain(history(strip, 2)) == text[-2:]


def test_every_sign_of_the_font_has_five_even_rows() -> None:
    assert set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.-+?/% ") <= set(FONT)
    for sign, rows in FONT.items():
        assert len(rows) == 5, sign
        assert len({len(row) for row in rows}) == 1, sign


def test_blocks() -> None:
    assert small("L1") == ["█    ▄█ ", "█     █ ", "▀▀▀▀ ▀▀▀"]
    assert large("1", 2) == ["  ██  ", "████  ", "  ██  ", "  ██  ", "██████"]
    assert biggest("12", 40, 6)[0] == "  ██    ██████  "
    assert biggest("12", 9, 6)[0] == " █  ### ".replace("#", "█")
    assert len(biggest("12", 40, 3)) == 3
    assert biggest("12", 4, 6) == ["12"]
    assert biggest("ä", 40, 6) == ["ä"]


def test_tiles_are_gear_speed_brake_and_doors_in_that_order() -> None:
    names = [s.name for s in tile_signals(fake_van.LIVE)]
    assert names == ["gear", "speed", "brake", "driver_door", "rear_door", "side_door"]


@pytest.mark.parametrize(("width", "height"), [(80, 10), (120, 14), (40, 4), (80, 3), (24, 30), (200, 7), (10, 2)])
def test_tiles_keep_within_their_space(width: int, height: int) -> None:
    lines = tile_lines(fake_van.LIVE, width, height)
    assert 0 < len(lines) <= height
    assert all(len(plain(line)) <= max(width, 20) for line in lines)


def test_small_tiles_say_it_in_words() -> None:
    text = "\n".join(plain(line) for line in tile_lines(fake_van.LIVE, 60, 3))
    assert "▪ R gear" in text
    assert "● OPEN rear_door" in text
    assert "○ SHUT side_door" in text
    assert "? unknown driver" in text


@pytest.mark.parametrize(
    ("width", "told"),
    [
        (19, " ? unknown driver_…"),
        (22, " ? unknown driver_door"),
        (32, " ? unknown driver_door (not see…"),
        (38, " ? unknown driver_door (not seen yet)"),
    ],
)
def test_a_tile_of_one_line_says_first_what_counts_most(width: int, told: str) -> None:
    """What, of which signal, and why; with too little room the end goes."""
    door = next(s for s in fake_van.SIGNALS if s.name == "driver_door")
    picture = dataclasses.replace(fake_van.LIVE, signals=(door,))
    assert plain(tile_lines(picture, width + 1, 1)[0]).rstrip() == told


@pytest.mark.parametrize(
    ("width", "height", "told"),
    [
        (40, 1, "Now · 2 of 6"),
        (40, 3, "Now"),
        (80, 1, "Now · 4 of 6"),
        (80, 5, "Now"),
        (80, 6, "Now"),
        (80, 10, "Now"),
        (10, 2, "Now · 2 of 6"),
    ],
)
def test_the_title_says_how_many_tiles_are_seen(width: int, height: int, told: str) -> None:
    assert tiles_title(fake_van.LIVE, width, height) == told
    drawn = "".join(plain(line) for line in tile_lines(fake_van.LIVE, width, height))
    assert len(re.findall("[▪●○?] ", drawn)) == (int(told.split()[2]) if "of" in told else 6)


@pytest.mark.parametrize(
    ("value", "label", "words"),
    [(1.0, "Pressed", "● ON brake"), (0.0, "Released", "○ OFF brake"), (3.0, "Adjusting", "▪ Adjusting brake")],
)
def test_a_brake_with_labels_is_a_switch(value: float, label: str, words: str) -> None:
    brake = next(s for s in fake_van.SIGNALS if s.name == "brake")
    brake = dataclasses.replace(brake, is_condition=False, value=value, text=label)
    picture = dataclasses.replace(fake_van.LIVE, signals=(brake,))
    assert words in plain(tile_lines(picture, 60, 1)[0])
    tall = [plain(line) for line in tile_lines(picture, 60, 7)]
    assert (label in tall[0]) == (value != 3.0)


@pytest.mark.parametrize(("height", "foot"), [(5, ["chattering"]), (6, ["chattering", "since"])])
def test_a_tile_tells_why_it_is_unknown_on_a_line_of_its_own(height: int, foot: list[str]) -> None:
    gear = fake_van.LIVE.signals_of("gear")[0]
    gear = dataclasses.replace(gear, code=UNKNOWN, text="unknown (chattering)")
    picture = dataclasses.replace(fake_van.LIVE, signals=(gear,))
    lines = [plain(line) for line in tile_lines(picture, 24, height)]
    assert lines[0].rstrip() == "▏? gear"
    assert [word in line for word, line in zip(foot, lines[4:], strict=True)] == [True] * len(foot)
    assert plain(tile_lines(picture, 60, height)[0]).rstrip() == "▏? gear  unknown (chattering)"


def test_tiles_leave_room_for_the_list() -> None:
    for height in (7, 19, 35):
        for width in (40, 80, 120):
            assert 1 <= height_wanted(fake_van.LIVE, width, height) <= height * 0.6


# --- health


def test_sources_in_rows() -> None:
    body, box = source_rows(fake_van.TROUBLE, "")
    assert [plain(c) for c in body.cells[:6]] == ["body", "● error active", "482", "21%", "0", "0"]
    assert [plain(c) for c in box.cells[:8]] == ["box", "✗ lost", "0", "–", "! 2", "0", "! 2", "14"]


BOUNCES = [
    ("measured", Bounce(3, 6, 4 * MS), True, "4.0 ms"),
    ("none", Bounce(3), True, "none"),
    ("polled too slowly", Bounce(3), False, "unknown"),
    ("polled too slowly, whatever was counted", Bounce(3, 6, 40 * MS), False, "unknown"),
    ("chatter is seen all the same", Bounce(3, 6, 4 * MS, 1), False, "chatter"),
]


@pytest.mark.parametrize(("bounce", "sees", "said"), [row[1:] for row in BOUNCES], ids=[row[0] for row in BOUNCES])
def test_bounce_of_a_box(bounce: Bounce, sees: bool, said: str) -> None:
    box = dataclasses.replace(fake_van.SOURCES[1], bounce=bounce, sees_bounce=sees)
    picture = dataclasses.replace(fake_van.LIVE, sources=(fake_van.SOURCES[0], box))
    assert [plain(row.cells[8]) for row in source_rows(picture, "")] == ["–", said]
    explained = "Sources · bounce unknown: polled more slowly than every 2 ms"
    assert sources_title(picture, 118) == (explained if said == "unknown" else "Sources")
    assert sources_title(picture, 60) == "Sources", "the column is not shown there"


def test_high_load_is_pointed_out() -> None:
    busy = dataclasses.replace(fake_van.SOURCES[0], load=0.83)
    picture = dataclasses.replace(fake_van.LIVE, sources=(busy,))
    assert plain(source_rows(picture, "")[0].cells[3]) == "! 83%"


@pytest.mark.parametrize(
    ("picture", "text"),
    [
        ("LIVE", " ● recording drive.duckdb  116,429 rows, 1.8 MB; 48.2 GB free"),
        ("TROUBLE", " ✗ stopped drive.duckdb  116,429 rows, 1.8 MB; ! 190 MB free"),
        ("REPLAY", " handover.duckdb, 10 min 12 s long"),
        ("EMPTY", " ○ not recording; r starts one"),
    ],
)
def test_recording_line(picture: str, text: str) -> None:
    assert plain(recording_lines(getattr(fake_van, picture))[0]) == text


def test_recording_line_while_it_is_closed() -> None:
    picture = dataclasses.replace(fake_van.LIVE, recorder=fake_van.RECORDER_CLOSING)
    told = " ○ being closed: drive.duckdb  116,429 rows, 1.8 MB; 48.2 GB free"
    assert plain(recording_lines(picture)[0]) == told


def test_problems_the_worst_first_and_wrapped() -> None:
    rows = problem_rows(fake_van.TROUBLE, "", 40)
    where = [plain(row.cells[0]) for row in rows]
    assert [name for name in where if name] == ["recording", "busprobe", "box", "busprobe", "box", "box", "note"]
    assert where[:2] == ["recording", ""]
    assert all(len(plain(row.cells[1])) <= 40 for row in rows)
    assert rows[0].as_text() == fake_van.RECORDER_FULL.failure
    assert [row.cells[0][0].tone for row in rows if plain(row.cells[0])] == 3 * [Tone.BAD] + 4 * [Tone.WARN]
    assert problem_rows(fake_van.EMPTY, "", 40) == []
    assert at(0) == fake_van.START
    assert rows[0].cells[0][0].tone is Tone.BAD


def test_a_line_that_chattered_wants_attention() -> None:
    signals = tuple(dataclasses.replace(s, bounce=Bounce(chatters=2)) for s in fake_van.LIVE.signals[:1])
    rows = problem_rows(dataclasses.replace(fake_van.EMPTY, signals=signals), "", 100)
    assert [plain(cell) for cell in rows[0].cells] == [
        signals[0].name,
        "Chattered 2 times. Look at its contact, plug and wire; the wiggle test (w on screen 6) watches it.",
    ]
