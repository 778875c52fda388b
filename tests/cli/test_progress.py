"""The progress bar: on a terminal only, and gone at the end."""

import io
import sys

import pytest

from busprobe.cli.progress import progress_bar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with progress_bar("Checking") as progress:
        assert progress is not None
        progress(0.5)
    assert "Checking" in terminal.getvalue()


def test_in_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = io.StringIO()
    monkeypatch.setattr(sys, "stderr", pipe)
    with progress_bar("Checking") as progress:
        assert progress is None
    assert pipe.getvalue() == ""
