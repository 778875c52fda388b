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


STDERR = "stderr is none (start it without 2>FILE)."


@pytest.mark.parametrize(
    ("command", "words", "status"),
    [
        ("open handover.duckdb 2>out", f"busprobe open needs a terminal: {STDERR}", 3),
        ("open handover.duckdb >out", "stdout is none (start it without a pipe after it or >FILE).", 3),
        ("open </dev/null", "stdin is none (start it without a pipe before it or <FILE).", 3),
        ("demo 2>out", f"The dashboard needs a terminal: {STDERR} Verdicts on two drives instead.", 0),
        ("demo >out", "Verdicts on two drives instead.", 0),
        ("simulate --for 1s 2>out", "0 frames sent", 0),
        ("simulate --for 1s >out", "", 0),
    ],
)
def test_what_goes_to_a_file_has_no_escape_codes_and_the_terminal_says_why(
    tmp_path: Path, command: str, words: str, status: int
) -> None:
    (tmp_path / "handover.duckdb").symlink_to(RECORDINGS / "handover.duckdb")
    line = f"cd '{tmp_path}' && exec '{sys.executable}' -m busprobe {command}"
    terminal = Terminal(["sh", "-c", line], 160, 24, {"XDG_STATE_HOME": str(tmp_path / "state")})
    try:
        if words:
            terminal.read_until(words, PATIENCE_S)
        assert terminal.wait(PATIENCE_S) == status
        assert b"Traceback" not in terminal.text()
    finally:
        terminal.close()
    out = tmp_path / "out"
    written = out.read_bytes() if out.exists() else b""
    assert b"\x1b" not in written
    assert b"Traceback" not in written
    if command == "open handover.duckdb 2>out":
        assert written.decode().startswith("busprobe open needs a terminal")
