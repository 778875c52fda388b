"""How wide reports are."""

import os
import shutil
import sys

import pytest

from busprobe.cli.output import print_report
from busprobe.report.table import room


@pytest.mark.parametrize(
    ("is_terminal", "columns", "width"),
    [(True, 80, 80), (True, 100, 100), (True, 20, 60), (True, 300, 120), (False, 80, 100)],
)
def test_width_of_a_report(
    is_terminal: bool, columns: int, width: int,
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.setattr(sys.stdout, "isatty", lambda: is_terminal)
    monkeypatch.setattr(shutil, "get_terminal_size", lambda *_: os.terminal_size((columns, 24)))
    print_report(lambda text: [f"{text} {room(0)}"], "wide")
    assert capsys.readouterr().out == f"wide {width}\n"
