"""The real program in a real terminal, from start to quit."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals here", allow_module_level=True)

from pseudo_terminal import Terminal

RECORDINGS = Path(__file__).parents[2] / "recordings"
PATIENCE_S = 60.0
"""Far more than it takes: the machine may be busy."""
Start = Callable[..., Terminal]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    terminals = []

    def begin(*arguments: str) -> Terminal:
        command = [sys.executable, "-m", "busprobe", "open", *arguments]
        terminal = Terminal(command, 80, 24, {"XDG_STATE_HOME": str(tmp_path / "state")})
        terminals.append(terminal)
        return terminal

    yield begin
    for terminal in terminals:
        terminal.close()


def test_a_recording_from_start_to_quit(start: Start) -> None:
    terminal = start(str(RECORDINGS / "handover.duckdb"))
    terminal.read_until("handover.duckdb", PATIENCE_S)
    terminal.read_until("F3 Signals", PATIENCE_S)
    terminal.press("5")
    terminal.read_until("F2 Sources", PATIENCE_S)
    terminal.resize(40, 10)
    terminal.resize(100, 30)
    terminal.press("?")
    terminal.read_until("Keys that work here", PATIENCE_S)
    terminal.drain()
    terminal.press("\x1b")
    terminal.read_until("F4 Wants attention", PATIENCE_S)
    terminal.press("1")
    terminal.read_until("F3 Signals", PATIENCE_S)
    terminal.press("q")
    assert terminal.wait(PATIENCE_S) == 0
    assert b"Traceback" not in terminal.text()


def test_the_start_page_from_start_to_quit(start: Start) -> None:
    terminal = start()
    terminal.read_until("Another file", PATIENCE_S)
    terminal.press("q")
    assert terminal.wait(PATIENCE_S) == 0


def test_it_ends_with_its_terminal(start: Start) -> None:
    """Also where no signal tells it: it must not run on unseen, at the cost of a whole processor."""
    terminal = start(str(RECORDINGS / "handover.duckdb"))
    terminal.read_until("F3 Signals", PATIENCE_S)
    terminal.hang_up()
    assert terminal.process.wait(PATIENCE_S) == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["live"], "a live vehicle needs its bench file."),
        (["no_such_file.duckdb"], "no_such_file.duckdb"),
        ([str(RECORDINGS / "handover.duckdb"), "--allow-requests"], 'goes with "live", not with a recording.'),
        (["--allow-requests"], 'goes with "live"'),
    ],
    ids=["live without bench file", "no such recording", "leave to ask a recording", "leave to ask nobody"],
)
def test_errors_at_start_go_to_stderr_with_status_3(start: Start, arguments: list[str], words: str) -> None:
    terminal = start(*arguments)
    terminal.read_until(words, PATIENCE_S)
    assert terminal.wait(PATIENCE_S) == 3
