"""NO_COLOR: the real program sends no colour at all (https://no-color.org).

"Command-line software which adds ANSI color to its output by default should check for a NO_COLOR
environment variable that, when present and not an empty string (regardless of its value), prevents
the addition of ANSI color." Bold, dim, underlined and reversed are no colours. The numbers are
those of ECMA-48, 8.3.117 (SGR): 30 to 39 and 40 to 49 set colours; 90 to 107 do in common terminals.
"""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals here", allow_module_level=True)

from pseudo_terminal import Terminal

RECORDING = Path(__file__).parents[2] / "recordings" / "handover.duckdb"
PATIENCE_S = 60.0
QUIET_S, SETTLED_S = 0.15, 1.0
"""So long without output, or after so long, the picture is whole, and the next key finds what it is for."""
_SGR = re.compile(rb"\x1b\[([0-9;:]*)m")
Start = Callable[..., "Watched"]


class Watched:
    """A terminal whose output is all kept."""

    def __init__(self, terminal: Terminal) -> None:
        self.terminal = terminal
        self._sent = b""

    def see(self, words: str, keys: str = "") -> None:
        """Press keys, and wait for words that were not there before."""
        self._sent += self.terminal.tail
        self.terminal.tail = b""
        if keys:
            self.terminal.press(keys)
        self.terminal.read_until(words, PATIENCE_S)
        quiet_at = time.monotonic() + SETTLED_S
        while self.terminal.read(QUIET_S) and time.monotonic() < quiet_at:
            pass

    @property
    def styles(self) -> set[int]:
        """Numbers of all styles that were set."""
        self._sent += self.terminal.tail
        self.terminal.tail = b""
        return {int(n) for found in _SGR.findall(self._sent) for n in re.split(rb"[;:]", found) if n}

    @property
    def colours(self) -> set[int]:
        return {n for n in self.styles if 30 <= n <= 49 or 90 <= n <= 107}


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    terminals = []

    def begin(*arguments: str, no_color: str) -> Watched:
        more = {"XDG_STATE_HOME": str(tmp_path / "state"), "NO_COLOR": no_color}
        terminal = Terminal([sys.executable, "-m", "busprobe", *arguments], 80, 24, more)
        terminals.append(terminal)
        return Watched(terminal)

    yield begin
    for terminal in terminals:
        terminal.close()


SCREENS = [
    ("g", "Go to time"), ("100\r", "Siren sounds"), ("2", "F3 Bits"), ("3", "F2 gear, role gear"),
    ("p", "F3 Choose"), ("\x1b", "others"), ("l", "██"), ("4", "F3 Occurrences"), ("l", "F4 Trigger log"),
    ("5", "F4 Wants attention"), ("6", "F3 Roles"), ("s", "asked for now"), ("?", "Keys that work here"),
    ("\x1b", "F3 Roles"), ("c", "Search for commands"), ("\x1b", "F3 Roles"), ("i", "Signal for edges"),
    ("\x1b", "F3 Roles"), ("1", "F3 Signals"), ("x", "Instant A is"), ("g", "Go to time"), ("0\r", "no trigger yet"),
    ("v", "differ between A"), ("f", "words; Enter keeps"), ("gear\r", "only: gear"), ("t", "Theme"),
    ("e", "Write the row"), ("\x1b", "F3 Signals"), ("o", "Another file"),
]  # fmt: skip
"""Keys of a replay, and words of what they bring up: every screen and every box over one."""


def test_no_colour_on_any_screen_of_a_recording(start: Start) -> None:
    watched = start("open", str(RECORDING), no_color="1")
    watched.see("F3 Signals")
    for keys, words in SCREENS:
        watched.see(words, keys)
        assert not watched.colours, f"after {keys!r}"
    assert {1, 2, 4, 7} <= watched.styles  # bold, dim, underlined, reversed say it instead


def test_no_colour_in_the_demo_with_its_boxes(start: Start, tmp_path: Path) -> None:
    watched = start("open", no_color="1")
    watched.see("Another file")
    watched.see("F3 Signals", "\r")
    watched.see("Enter", "7")
    watched.see("● on", "\r")
    watched.see("F3 Signals", "\x1b")
    watched.see("Record to this file", "r")
    watched.see("km/h", "\x15")  # the name proposed is taken out
    watched.see("REC", str(tmp_path / "drive.duckdb") + "\r")
    watched.see("A recording goes on.", "q")
    watched.terminal.press("y")
    watched.terminal.wait(PATIENCE_S)
    assert not watched.colours
    assert 7 in watched.styles


@pytest.mark.parametrize("arguments", [("survey",), ("vehicle",)], ids=" ".join)
def test_no_colour_in_the_progress_of_a_command(start: Start, arguments: tuple[str, ...]) -> None:
    watched = start(*arguments, str(RECORDING), no_color="yes")
    watched.terminal.wait(PATIENCE_S)
    assert not watched.colours


def test_an_empty_variable_means_colours(start: Start) -> None:
    watched = start("open", str(RECORDING), no_color="")
    watched.see("F3 Signals")
    assert {38, 48} <= watched.colours
