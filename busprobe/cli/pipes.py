"""stdin, stdout and stderr where they are pipes, files or closed, as in `busprobe ... | head`."""

from __future__ import annotations

import os
import sys

import click

STREAMS = ("stdin", "stdout", "stderr")


def forget_stdout() -> None:
    """Send what is still to come nowhere: Python flushes stdout once more at its end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def open_closed_streams() -> None:
    """Give what was closed (`2>&-`) to nowhere: else the next file that is opened takes its place."""
    for number, name in enumerate(STREAMS):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # it gets the lowest number that is free: this one
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(number, "w" if number else "r", encoding="utf-8", closefd=False))


def without_terminal() -> tuple[str, ...]:
    """Which of stdin, stdout and stderr are no terminal."""
    return tuple(name for name in STREAMS if not getattr(sys, name).isatty())


def also_on_terminal(text: str) -> None:
    """A message that goes to stderr: on stdout too where only that is a terminal, for it to be seen."""
    if sys.stdout.isatty() and not sys.stderr.isatty():
        click.echo(text)
