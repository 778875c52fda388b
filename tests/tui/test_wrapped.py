"""Lines that go on in the next one, and how lines that are left over are shared."""

from __future__ import annotations

import pytest

from busprobe.tui.view.spans import Line, Span, Tone, plain
from busprobe.tui.view.wrapped import in_words, lines_wanted, shared, wrapped

TEXT: Line = (Span("● on  ", Tone.ON), Span("Rear white lamp", Tone.STRONG), Span("   when gear == 'R'", Tone.DIM))


@pytest.mark.parametrize(
    ("width", "indent", "lines"),
    [
        (40, 0, ["● on  Rear white lamp   when gear == 'R'"]),
        (39, 0, ["● on  Rear white lamp   when gear ==", "'R'"]),
        (26, 4, ["● on  Rear white lamp", "    when gear == 'R'"]),
        (15, 2, ["● on  Rear", "  white lamp", "  when gear ==", "  'R'"]),
        (4, 0, ["● on", "Rear", "white", "lamp", "when", "gear", "==", "'R'"]),
    ],
)
def test_a_line_is_cut_between_words(width: int, indent: int, lines: list[str]) -> None:
    """... and keeps its tones; a word that is too wide stays whole."""
    parts = wrapped(TEXT, width, indent)
    assert [plain(part) for part in parts] == lines
    assert {span.tone for part in parts for span in part if "lamp" in span.text} == {Tone.STRONG}


def test_an_empty_line_stays_one() -> None:
    assert wrapped((), 10) == ((),)


ONE, LONG = (Span("short"),), (Span("one two three four"),)


@pytest.mark.parametrize(
    ("texts", "room", "lines"),
    [
        ([ONE, LONG], 2, ["short", "one two …"]),
        ([ONE, LONG], 3, ["short", "one two", "  three …"]),
        ([ONE, LONG], 4, ["short", "one two", "  three", "  four"]),
        ([LONG, LONG], 4, ["one two", "  three", "  four", "one two …"]),
        ([LONG, ONE], 1, ["one two …", "short"]),
        ([], 5, []),
    ],
    ids=["no room", "room for a part", "room for all", "in order", "never fewer than they are", "nothing"],
)
def test_lines_that_are_left_over_go_to_what_is_too_long(texts: list[Line], room: int, lines: list[str]) -> None:
    told = [in_words(text, 9, 2) for text in texts]
    assert [plain(line).rstrip() for line in shared(told, 9, room)] == lines


def test_how_many_lines_all_of_it_takes() -> None:
    assert lines_wanted([in_words(ONE, 9, 2), in_words(LONG, 9, 2)], 9) == 4
