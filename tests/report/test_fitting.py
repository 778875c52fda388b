"""Reports fit the width that they are given."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from busprobe.health import MOST_ASKED, OtherTester
from busprobe.report.live_text import LiveStatus, SourceLine, TroubleNews, asker_words, status_line
from busprobe.report.survey_text import survey_lines
from busprobe.report.table import Column, fitted, paragraph, table
from busprobe.report.vehicle_text import vehicle_lines
from busprobe.report.verify_text import verify_lines
from busprobe.session.surveying import survey
from busprobe.session.vehicle import vehicle_recorded
from busprobe.session.verifying import verify

ROOT = Path(__file__).parents[2]
RECORDING, BENCH = ROOT / "recordings" / "five_faults.duckdb", ROOT / "dbc_samples" / "patrol_van.toml"


@pytest.mark.parametrize("width", [80, 100])
def test_no_line_of_a_report_is_longer(width: int) -> None:
    with fitted(width):
        lines = [
            *verify_lines(verify(RECORDING, BENCH)),
            *survey_lines(survey(RECORDING, BENCH)),
            *vehicle_lines(vehicle_recorded(RECORDING)),
        ]
    assert [line for line in lines if len(line) > width] == []
    assert max(map(len, lines)) > width - 8


def test_text_gives_way_before_numbers() -> None:
    columns = (Column("check", wrap=30), Column("worst", right=True))
    with fitted(22):
        lines = table(columns, [("Rear white lamp follows", "100.5 ms")])
    assert lines == ["check            worst", "------------  --------", "Rear white    100.5 ms", "lamp follows"]


def test_a_cell_of_two_lines_and_a_paragraph() -> None:
    with fitted(12):
        assert table((Column("a", wrap=12),), [("one\n two",)]) == ["a", "----", "one", " two"]
        assert paragraph("one two three four") == ["one two", "three four"]


def status(**more: object) -> LiveStatus:
    recorder = SimpleNamespace(rows=1, bytes=2_500_000, free=7_000_000_000, failure=more.pop("failure", ""))
    sources = (
        SourceLine("body", True, 2000.0, 0.25, int(str(more.pop("lost", 0))), 0, "active", "", 1),
        SourceLine("box", False, 0.0, None, 0, 0, "", "There is no /dev/ttyUSB1.\nPlug it in.", 1),
    )
    testers = ("tester on body 2/s: 03",) if more.pop("tester", False) else ()
    return LiveStatus(65.0, sources, 0, 2, recorder, testers=testers)


def test_the_status_line_says_trouble_first_then_rates_and_losses() -> None:
    whole = "1:05 | box DOWN | body 2,000/s 25 % gaps 1 | lost 0 | failed 2 | free 7.0 GB, recording 2.5 MB"
    assert status_line(status()) == f"{whole} | box: There is no /dev/ttyUSB1."
    assert status_line(status(), 80) == whole[:79] + "…"
    asked = status_line(status(tester=True))
    assert asked.startswith(f"{whole} | tester on body 2/s: 03 | ")
    lost = status_line(status(lost=7), 40)
    assert lost.startswith("1:05 | box DOWN | body LOST 7 ")
    assert "lost 0" not in status_line(status(lost=7))
    failed = status_line(status(failure="disk full."))
    assert failed.startswith("1:05 | NOT RECORDING | box DOWN | body 2,000/s 25 % gaps 1 | lost 0 | failed 2 | ")
    assert failed.endswith(" | disk full. | box: There is no /dev/ttyUSB1.")


def test_trouble_is_told_once_when_it_begins() -> None:
    news, now = TroubleNews(), status()
    down = "box is down: There is no /dev/ttyUSB1. Plug it in."
    assert news.take(now) == [f"1:05 {down}"]
    assert news.take(replace(now, elapsed_s=90.0)) == []
    stopped = replace(status(failure="disk full.\nMake room."), elapsed_s=91.0)
    assert news.take(stopped) == ["1:31 Nothing is recorded any more: disk full. Make room."]
    back = replace(now, sources=now.sources[:1])
    for elapsed_s, told in ((92.0, [f"1:32 {down}"]), (97.0, []), (102.0, [f"1:42 {down}"])):
        assert news.take(back) == []
        assert news.take(replace(now, elapsed_s=elapsed_s)) == told, "of a loose plug not again and again"


@pytest.mark.parametrize(
    ("asked", "per_second", "strays", "text"),
    [
        (("01 0C 0D",), 2.0, 0, "tester on body 2/s: 01 0C 0D"),
        (("03",), None, 0, "tester on body: 03"),
        (("01 0C", "01 0D", "03", "07", "0A"), 9.87, 0, "tester on body 9.87/s: 01 0C; 01 0D; 03 +2"),
        (tuple(f"22 01 {low:02X}" for low in range(MOST_ASKED)), 50.0, 0,
         "tester on body 50/s: 22 01 00; 22 01 01; 22 01 02 +many"),
        ((), None, 3, "tester on body: behind a gateway"),
        ((), None, 0, "tester on body: no request yet"),
    ],
    ids=["one", "once", "many", "more than are kept", "answers only", "flow control only"],
)  # fmt: skip
def test_another_tester_in_short(asked: tuple[str, ...], per_second: float | None, strays: int, text: str) -> None:
    assert asker_words("body", OtherTester((0x7DF,), len(asked), 0, 0, per_second, asked, strays)) == text
