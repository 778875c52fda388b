"""What commands write: lines on stdout, problems on stderr, JSON files."""

from __future__ import annotations

import errno
import shutil
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeVar

import click

from busprobe.cli.pipes import forget_stdout
from busprobe.errors import Problems
from busprobe.report.as_json import Json, dump
from busprobe.report.quantities import counted
from busprobe.report.table import fitted

T = TypeVar("T")

PROBLEMS_SHOWN = 10
GONE = (errno.EPIPE, errno.EIO)
"""Of what was read at the other end: a pipe, a terminal."""
PIPE_WIDTH = 100
NARROWEST, WIDEST = 60, 120


def print_report(lines: Callable[[T], Iterable[str]], report: T) -> None:
    """Lines of a report, made to fit the terminal; in a pipe 100 wide."""
    with fitted(_width()):
        print_lines(lines(report))


def _width() -> int:
    if not sys.stdout.isatty():
        return PIPE_WIDTH
    return min(max(shutil.get_terminal_size().columns, NARROWEST), WIDEST)


def print_lines(lines: Iterable[str]) -> None:
    """Lines on stdout; a reader that has gone away takes nothing from the exit status."""
    try:
        sys.stdout.write("".join(f"{line}\n" for line in lines))
        sys.stdout.flush()
    except OSError as error:
        if error.errno not in GONE:
            raise
        forget_stdout()


def print_problems(problems: Problems) -> None:
    """The first problems of reading, and how many there were, on stderr."""
    if not problems.count:
        return
    shown = problems.items[:PROBLEMS_SHOWN]
    lines = ["", *(str(problem) for problem in shown)]
    more = problems.count - len(shown)
    lines.append(f"{counted(problems.count, 'problem')} in reading" + (f", {more:,} more not shown." if more else "."))
    for line in lines:
        click.echo(line, err=True)


def write_json(path: Path | None, report: Json) -> None:
    """The report as a file; nothing for None."""
    if path is not None:
        path.write_text(dump(report), encoding="utf-8", newline="\n")
