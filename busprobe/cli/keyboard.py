"""Single keys from a terminal."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

WaitForKey = Callable[[float], str]
"""Waits for a key, so many seconds at most; the key, or empty."""


@contextmanager
def single_keys() -> Iterator[WaitForKey | None]:
    """Keys without Enter and without an echo; None where stdin is no terminal that can give them."""
    try:
        import termios
        import tty
    except ImportError:
        yield None
        return
    if not sys.stdin.isatty():
        yield None
        return
    stdin = sys.stdin.fileno()
    before = termios.tcgetattr(stdin)

    def wait(seconds: float) -> str:
        ready, _, _ = select.select([stdin], [], [], seconds)
        return os.read(stdin, 1).decode("ascii", "replace") if ready else ""

    try:
        tty.setcbreak(stdin)
        yield wait
    finally:
        termios.tcsetattr(stdin, termios.TCSADRAIN, before)
