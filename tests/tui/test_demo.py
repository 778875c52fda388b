"""`busprobe demo` in a real terminal: van and dashboard begin and end together."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals here", allow_module_level=True)

from pseudo_terminal import Terminal

PATIENCE_S = 60.0
"""Far more than it takes: the machine may be busy."""
Start = Callable[..., Terminal]


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """Folder for temporary files, of this test alone."""
    folder = tmp_path / "files"
    folder.mkdir()
    return folder


@pytest.fixture
def start(tmp_path: Path, files: Path) -> Iterator[Start]:
    terminals = []

    def begin(*arguments: str) -> Terminal:
        command = [sys.executable, "-m", "busprobe", *arguments]
        more = {"XDG_STATE_HOME": str(tmp_path / "state"), "TMPDIR": str(files)}
        terminal = Terminal(command, 80, 24, more)
        terminals.append(terminal)
        return terminal

    yield begin
    for terminal in terminals:
        terminal.close()


def vans(files: Path) -> list[str]:
    """Processes of simulated vans with their bench file in this folder."""
    listed = subprocess.run(["ps", "-ww", "-eo", "args"], capture_output=True, text=True, check=True).stdout
    return [line for line in listed.splitlines() if "simulate" in line and str(files) in line]


def ports(files: Path) -> list[Path]:
    """Links to input boxes, and the lock file beside each."""
    return list(files.glob("busprobe-van-*"))


def links(files: Path) -> list[Path]:
    return [path for path in ports(files) if path.is_symlink()]


def gone(files: Path) -> bool:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if not vans(files) and not ports(files):
            return True
        time.sleep(0.05)
    return False


def test_from_start_to_quit(start: Start, files: Path) -> None:
    terminal = start("demo")
    terminal.read_until("F3 Signals", PATIENCE_S)
    assert len(vans(files)) == len(links(files)) == 1
    terminal.press("5")
    terminal.read_until("F2 Sources", PATIENCE_S)
    terminal.press("7")
    terminal.read_until("late rear white", PATIENCE_S)
    terminal.press("\r")
    terminal.read_until("● on", PATIENCE_S)
    terminal.drain()
    terminal.press("\x1b")
    terminal.read_until("F4 Wants attention", PATIENCE_S)
    terminal.press("q")
    assert terminal.wait(PATIENCE_S) == 0
    assert b"Traceback" not in terminal.text()
    assert not vans(files)
    assert list(files.iterdir()) == []


@pytest.mark.parametrize("sign", [signal.SIGTERM, signal.SIGHUP], ids=lambda s: s.name)
def test_asked_to_end_it_leaves_nothing_behind(sign: signal.Signals, start: Start, files: Path) -> None:
    terminal = start("demo")
    terminal.read_until("F3 Signals", PATIENCE_S)
    terminal.process.send_signal(sign)
    assert terminal.wait(PATIENCE_S) == 0
    assert not vans(files)
    assert list(files.iterdir()) == []


def test_killed_the_van_ends_too(start: Start, files: Path) -> None:
    terminal = start("demo")
    terminal.read_until("F3 Signals", PATIENCE_S)
    assert vans(files)
    terminal.process.kill()
    assert gone(files)


def test_the_start_page_has_it_too(start: Start, files: Path) -> None:
    terminal = start("open")
    terminal.read_until("Another file", PATIENCE_S)
    terminal.press("\r")
    terminal.read_until("F3 Signals", PATIENCE_S)
    assert len(vans(files)) == 1
    terminal.press("q")
    assert terminal.wait(PATIENCE_S) == 0
    assert not vans(files)
    assert list(files.iterdir()) == []


def test_headless_prints_verdicts_in_a_terminal_too(start: Start) -> None:
    terminal = start("demo", "--headless")
    terminal.read_until("five_faults.duckdb", PATIENCE_S)
    assert terminal.wait(PATIENCE_S) == 0
