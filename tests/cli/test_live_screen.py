"""What a live run writes to stderr while it goes on, on a terminal and in a pipe."""

import io
import sys

import pytest

from busprobe.cli.live import live_screen
from busprobe.report.live_text import LiveStatus, SourceLine
from busprobe.session.endings import endings_kept

DOWN = LiveStatus(
    65.0, (SourceLine("box", False, 0.0, None, 0, 0, "", "There is no /dev/ttyUSB1.\nPlug it in.", 1),), 0, 0, None
)


class Screen(io.StringIO):
    def __init__(self, *, is_terminal: bool) -> None:
        super().__init__()
        self.is_terminal = is_terminal

    def isatty(self) -> bool:
        return self.is_terminal


@pytest.mark.parametrize("is_terminal", [True, False])
def test_what_goes_wrong_has_a_line_of_its_own(monkeypatch: pytest.MonkeyPatch, is_terminal: bool) -> None:
    screen = Screen(is_terminal=is_terminal)
    monkeypatch.setattr(sys, "stderr", screen)
    with endings_kept(), live_screen() as show:
        before = len(screen.getvalue())
        show(DOWN)
        show(DOWN)
        shown = screen.getvalue()[before:]
    told = "1:05 box is down: There is no /dev/ttyUSB1. Plug it in."
    if not is_terminal:
        assert shown == f"{told}\n"
        return
    lines = shown.split("\n")
    assert [line.strip() for line in lines[:-1]] == [told]
    assert [part[:15] for part in lines[-1].split("\r") if part] == ["1:05 | box DOWN"] * 2
    assert shown.endswith("\r"), "what a terminal echoes is painted over"
