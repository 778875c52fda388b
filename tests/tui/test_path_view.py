"""The drawing of a signal path: stages, bits, users, room at each size, large letters."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import fake_van
import pytest

from busprobe.results import CheckResult, Verdict
from busprobe.session.snapshot import SignalPath, Stage, User
from busprobe.timeline import ASLEEP
from busprobe.tui.view.path import neighbour, path_lines, picker_rows, signal_of, title
from busprobe.tui.view.path_large import large_lines
from busprobe.tui.view.path_stages import bit_lines, digits, said, spoken, stage_line, stages
from busprobe.tui.view.path_users import user_line, users_lines
from busprobe.tui.view.room_text import SCALES, fitting, parted
from busprobe.tui.view.spans import Line, Tone, plain, width_of

LIVE = fake_van.LIVE
GEAR = fake_van.PATHS["gear"]
SIZES = [(118, 34), (120, 36), (80, 20), (78, 17), (40, 7), (40, 6), (200, 60)]


def text(lines: list[Line]) -> str:
    return "\n".join(plain(line).rstrip() for line in lines)


@pytest.mark.parametrize("name", fake_van.PATHS)
@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize("draw", [path_lines, large_lines])
def test_nothing_is_wider_than_the_screen(name: str, width: int, height: int, draw: Callable[..., list[Line]]) -> None:
    lines = draw(fake_van.PATHS[name], LIVE, width, height)
    assert lines
    assert max(width_of(line) for line in lines) <= width


@pytest.mark.parametrize("name", fake_van.PATHS)
@pytest.mark.parametrize("draw", [path_lines, large_lines])
@pytest.mark.parametrize(("width", "height"), [(120, 36), (80, 21)])
def test_it_fits_the_screens_it_is_made_for(
    name: str, width: int, height: int, draw: Callable[..., list[Line]]
) -> None:
    drawing = text(draw(fake_van.PATHS[name], LIVE, width, height))
    front, _, users = drawing.partition("\n\nUsed by, all ")
    assert len(front.split("\n")) <= height
    assert not users or draw is large_lines


@pytest.mark.parametrize("count", [0, 1, 4, 9, 30])
def test_many_users_give_way_to_the_controller(count: int) -> None:
    path = dataclasses.replace(GEAR, users=tuple(User("check", f"Check {i}", "text", 1) for i in range(count)))
    for size in ((120, 36), (80, 21)):
        lines = path_lines(path, LIVE, *size)
        assert "controller: Rear white" in text(lines[: size[1]])
        assert all(f"Check {i}" in text(lines) for i in range(count))
    assert ("more that use it: PgDn" in text(lines)) == (count > 7)
    assert (len(lines) > size[1]) == (count > 7)


def test_users_beyond_the_room_are_counted() -> None:
    users = tuple(User("check", f"Check {i}", "text", 1) for i in range(9))
    assert plain(users_lines(users, 60, 4)[-1]).strip() == "and 6 more that use it: PgDn"
    assert len(users_lines(users, 60, 4)) == 4


LONG_USERS = tuple(
    User(
        "check",
        f"Rear warning returns after brake {i}",
        f"when siren_switch and not turning_{i}: on",
        1,
    )
    for i in range(12)
)


@pytest.mark.parametrize(("count", "is_cut"), [(1, False), (6, False), (12, True)])
def test_what_uses_a_signal_is_cut_only_where_no_line_is_free_and_told_in_full_below(count: int, is_cut: bool) -> None:
    path = dataclasses.replace(GEAR, users=LONG_USERS[:count])
    drawing = text(path_lines(path, LIVE, 118, 34))
    front, _, rest = drawing.partition("\n\nUsed by, all ")
    assert (("…" in front), bool(rest), "Used by   in full: PgDn" in front) == (is_cut, is_cut, is_cut)
    assert len(front.split("\n")) <= 34
    told = " ".join((rest if is_cut else front).split())
    assert all(f"not turning_{i}" in told or f"turning_{i}" in told for i in range(count))
    assert "…" not in rest
    if is_cut:
        free = [line for line in front.split("\n")[8:24] if not line[64:].strip()]
        assert not free, "no line is free beside the stages"


@pytest.mark.parametrize(("width", "height"), [(118, 34), (79, 18), (79, 24)])
@pytest.mark.parametrize("name", fake_van.PATHS)
def test_nothing_is_cut_while_a_line_is_free(name: str, width: int, height: int) -> None:
    path = dataclasses.replace(fake_van.PATHS[name], users=(), boxes=())
    lines = [plain(line).rstrip() for line in path_lines(path, LIVE, width, height)]
    assert len(lines) < height
    assert not any("…" in line for line in lines)


def aged(age: str) -> SignalPath:
    """The path with so old a frame, of a message with a long name."""
    detail = f"body 0E4 TransmissionStatusOfTheGearbox, every 20 ms, newest {age} ago"
    return dataclasses.replace(GEAR, users=(), boxes=(), stages=(Stage("Frame", "01 1F", detail), *GEAR.stages[1:]))


@pytest.mark.parametrize(("width", "height"), [(width, height) for width in range(70, 122, 3) for height in (20, 34)])
def test_the_drawing_does_not_jump_as_an_age_changes(width: int, height: int) -> None:
    drawings = [path_lines(aged(age), LIVE, width, height) for age in ("9 ms", "18 ms", "120 ms", "1.2 s", "<0.1 s")]
    starts = [[plain(line)[:2] for line in lines] for lines in drawings]
    assert all(each == starts[0] for each in starts)


@pytest.mark.parametrize(
    ("width", "notes"), [(54, ["2 lowest", "1 highest"]), (60, ["2 of 2, lowest", "1 of 2, highest"])]
)
def test_notes_beside_the_bits_are_short_where_they_have_little_room(width: int, notes: list[str]) -> None:
    bits = (15, 14, 13, 12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1, 0)
    path = dataclasses.replace(GEAR, bits=bits, payload=b"\x01\x1f\x00")
    lines = [plain(line).rstrip() for line in bit_lines(path, width)]
    assert [line.rpartition("  ")[2] for line in lines[1:3]] == notes


def test_every_stage_is_there_in_its_order() -> None:
    for size in ((120, 36), (80, 21)):
        drawing = text(path_lines(GEAR, LIVE, *size))
        places = [
            drawing.index(word) for word in ("Frame", "Bits", "Raw", "Value", "Freshness", "Signal", "controller")
        ]
        assert places == sorted(places)


def test_the_bits_are_joined_in_the_grid() -> None:
    assert "▐0━━━0━━━0━━━1▌" in text(path_lines(GEAR, LIVE, 120, 36))
    assert "▐0━━━0━━━0━━━1▌" in text(path_lines(GEAR, LIVE, 80, 21))


def test_bytes_of_the_signal_are_marked_in_the_frame() -> None:
    frame = Stage("Frame", "01 1F 5A 20 43 C1", "body E4")
    assert plain(said(frame, GEAR)) == "▸01 1F 5A 20 43 C1"


@pytest.mark.parametrize(
    ("payload", "expected"), [("011F", "0001"), ("0F", "1111"), ("", "...."), (None, "")],
)  # fmt: skip
def test_digits(payload: str | None, expected: str) -> None:
    path = dataclasses.replace(GEAR, payload=None if payload is None else bytes.fromhex(payload))
    assert digits(path) == expected


def test_the_last_stage_is_always_the_signal() -> None:
    given = (*GEAR.stages, Stage("Signal", "stale words", "gear", 1))
    assert [s.title for s in stages(dataclasses.replace(GEAR, stages=given), LIVE)].count("Signal") == 1
    assert stages(GEAR, LIVE)[-1].text == "R"


def test_a_derived_signal_is_shown_with_what_it_is_made_from() -> None:
    """... each with what it says now; words in quotes are labels, no signals."""
    secured = LIVE.signal("secured")
    assert secured is not None
    odd = dataclasses.replace(secured, source="gear == 'brake' or (gear == 'N' and park_brake) or speed > '5 km/h'")
    path = SignalPath(odd, (Stage("Made from", odd.source), Stage("Signal", "off", "", 0)))
    operands = [(s.text, s.code) for s in stages(path, LIVE) if s.title == "Operand"]
    assert operands == [("gear: R", None), ("park_brake: off", 0), ("speed: 12.4 km/h", None)]
    drawing = text(path_lines(path, LIVE, 80, 20))
    assert "▼ Operand     ○ park_brake: off         body.ParkBrake.Applied" in drawing


@pytest.mark.parametrize(
    ("user", "line"),
    [
        (User("check", "Lamp", "when gear == 'R': on", 1), "● on       check   Lamp   when gear == 'R'"),
        (User("check", "Siren", "never siren: VIOLATED", 0), "○ VIOLATED check   Siren   never siren"),
        (User("trigger", "Door", "on rises(door): unknown", 2), "? unknown  trigger Door   on rises(door)"),
        (User("trigger", "Door", "on rises(door): not seen", ASLEEP), "· not seen trigger Door   on rises(door)"),
        (User("trigger", "Door", "on rises(door): asleep", ASLEEP), "z asleep   trigger Door   on rises(door)"),
        (User("trigger", "Door", "on rises(door)", None), "           trigger Door   on rises(door)"),
    ],
    ids=["on", "violated", "unknown", "never seen", "asleep", "nothing known"],
)
def test_what_a_user_says_now_stands_before_its_long_text(user: User, line: str) -> None:
    assert plain(user_line(user, 60, with_text=True)).rstrip() == line


@pytest.mark.parametrize("width", [80, 79, 60])
def test_two_blanks_stand_between_what_a_stage_says_and_how_it_comes_about(width: int) -> None:
    stage = Stage("Freshness", "unknown, 288.7 s old once", "unknown once older than 1 h", 1)
    for says in ("x" * 22, "x" * 21, "x" * 25, "12345"):
        line = plain(stage_line(dataclasses.replace(stage, text=says), GEAR, LIVE, width, first=False))
        assert f"{says}  " in line
        assert line.index("unknown once") - line.index(says) - len(says) >= 2


@pytest.mark.parametrize(
    ("when", "expected", "chosen", "name"),
    [
        ("gear == 'R'", "rear_white within 300 ms of gear == 'R'", None, "gear"),
        ("gear == 'R'", "rear_white within 300 ms of gear == 'R'", "rear_white", "rear_white"),
        ("gear == 'R'", "rear_white within 300 ms of gear == 'R'", "speed", "gear"),
        ("", "never siren and gear == 'P'", "speed", "siren"),
        ("gone", "nothing", "speed", "speed"),
    ],
)
def test_the_signal_of_a_check(when: str, expected: str, chosen: str | None, name: str) -> None:
    check = CheckResult("x", Verdict.PASS, (), "expect", expected, when=when)
    assert signal_of(check, LIVE.signals, chosen) == name


@pytest.mark.parametrize(
    ("name", "words", "tone"),
    [
        ("gear", "R", Tone.STRONG),
        ("brake", "● on", Tone.ON),
        ("park_brake", "○ off", Tone.PLAIN),
        ("driver_door", "? unknown (not seen yet)", Tone.WARN),
    ],
)
def test_what_a_signal_says_has_a_shape_before_a_colour(name: str, words: str, tone: Tone) -> None:
    signal = LIVE.signal(name)
    assert signal is not None
    line = said(Stage("Signal", signal.text), SignalPath(signal, ()))
    assert plain(line) == words
    assert line[0].tone is tone


def test_since_when() -> None:
    gear, door = LIVE.signal("gear"), LIVE.signal("driver_door")
    assert gear is not None
    assert door is not None
    assert spoken(gear, LIVE.t_ns, LIVE.start_ns) == "since 03:18.2, for 1.8 s; 7 edges"
    assert spoken(door, LIVE.t_ns, LIVE.start_ns) == "nothing seen yet"


@pytest.mark.parametrize(
    ("name", "step", "expected"),
    [("gear", 1, "speed"), ("gear", -1, "secured"), ("secured", 1, "gear"), (None, 0, "gear"), ("gone", 1, "gear")],
)
def test_neighbour(name: str | None, step: int, expected: str) -> None:
    assert neighbour(LIVE.signals, name, step) == expected


def test_no_signals_no_neighbour() -> None:
    assert neighbour((), "gear", 1) is None


@pytest.mark.parametrize(
    ("words", "names"),
    [
        ("reAR", ["rear_door", "rear_white", "rear_warning"]),
        ("role", []),
        ("door body", ["driver_door"]),
        ("obd", ["module_volts"]),
    ],
)
def test_picker_filter(words: str, names: list[str]) -> None:
    assert [row.key for row in picker_rows(LIVE.signals, words)] == names


def test_title_names_the_signal_and_the_keys() -> None:
    assert title(LIVE.signals, "gear") == "gear, role gear · 1 of 29 · ↑↓ others · p pick · l large"
    assert title(LIVE.signals, None) == "Signal path"


def test_title_tells_which_of_several_checks_is_drawn_and_the_key_to_others() -> None:
    boxes = [dataclasses.replace(GEAR.boxes[0], check=name) for name in ("a", "b", "c")]
    assert title(LIVE.signals, "gear", boxes, "b").endswith(" · l large · n check 2 of 3")
    assert title(LIVE.signals, "gear", boxes[:1], "a").endswith(" · l large")


def test_nothing_chosen_says_how_to_choose() -> None:
    assert "p lists them" in text(path_lines(None, LIVE, 80, 20))


@pytest.mark.parametrize(
    ("value", "unit", "parts"),
    [
        ("12.4 km/h", "km/h", ("12.4", "km/h")),
        ("R", None, ("R", "")),
        ("-3 °C", "°C", ("-3", "°C")),
        ("unknown (lost)", None, ("unknown", "")),
        ("Volt", "V", ("Volt", "")),
    ],
)
def test_a_value_and_its_unit(value: str, unit: str | None, parts: tuple[str, str]) -> None:
    assert parted(value, unit) == parts


@pytest.mark.parametrize(
    ("words", "width", "height", "lines"),
    [
        pytest.param("R", 100, 10, 10, id="ten lines"),
        pytest.param("R", 100, 9, 5, id="five lines"),
        pytest.param("R", 100, 4, 3, id="three lines"),
        pytest.param("R", 3, 10, None, id="too narrow"),
        pytest.param("R", 100, 2, None, id="too low"),
        pytest.param("°", 100, 10, None, id="no such letter"),
        pytest.param("", 100, 10, None, id="no text"),
    ],
)
def test_the_largest_letters_that_fit(words: str, width: int, height: int, lines: int | None) -> None:
    scale = fitting(words, "", width, height)
    assert (None if scale is None else scale.height) == lines
    assert scale is None or scale in SCALES


def test_large_letters_draw_bits_value_and_delay() -> None:
    drawing = text(large_lines(GEAR, LIVE, 120, 36))
    assert drawing.count("█") > 200
    assert "controller" in drawing
    assert "limit 300 ms" in drawing
    assert " ██   █       █  ████ " in drawing  # 01 1F, the beginning of the frame
    assert "█▀▀▄ ▄▀▀▄ ▄▀▀▀ ▄▀▀▀ █▀▀▀ █▀▀▄" in drawing  # PASSED
    assert "▼ Raw → value 1 = Reverse → R" in drawing
    assert "▄█        ▀▄" in drawing or "██                ██" in drawing  # 1 →


def test_in_a_low_terminal_verdict_and_value_are_served_first() -> None:
    failed = dataclasses.replace(GEAR.boxes[0], check="Beacons flash in step", cause_ns=fake_van.at(142.1))
    drawing = text(large_lines(dataclasses.replace(GEAR, boxes=(failed,)), LIVE, 79, 19))
    assert "█▀▀▀ ▄▀▀▄ ▀█▀ █    █▀▀▀ █▀▀▄" in drawing  # FAILED
    assert "   ██████\n   ██    ██\n" in drawing  # R
    assert "● Frame       ▸01 1F 5A 20 43 C1" in drawing


def test_an_unknown_signal_is_drawn_large_with_its_reason_beside_it() -> None:
    drawing = text(large_lines(fake_van.PATHS["driver_door"], LIVE, 120, 36))
    assert "driver_door ? " in drawing
    assert "unknown (not seen yet)" in drawing


@pytest.mark.parametrize(("since_ns", "sign"), [(None, "·"), (fake_van.at(3), "z")])
def test_what_was_never_seen_bears_the_same_mark_as_its_signal(since_ns: int | None, sign: str) -> None:
    signal = dataclasses.replace(GEAR.signal, code=ASLEEP, text="unknown", since_ns=since_ns)
    path = dataclasses.replace(GEAR, signal=signal)
    operand = Stage("Operand", "gear: unknown (not seen yet)" if since_ns is None else "gear: unknown", "", ASLEEP)
    for step in (Stage("Freshness", "never seen", "", ASLEEP), Stage("Signal", "unknown", "", ASLEEP), operand):
        assert plain(said(step, path)).startswith(f"{sign} ")


@pytest.mark.parametrize(("width", "at"), [(60, 40), (59, 20), (39, 20)])
def test_in_a_narrow_terminal_how_a_stage_comes_about_follows_what_it_says(width: int, at: int) -> None:
    line = plain(
        stage_line(Stage("Bits", "0001", "start bit 0, 4 bits, lowest byte first"), GEAR, LIVE, width, first=False)
    )
    assert line.index("start bit 0") == at
