"""Ctrl-C, a request to end and a terminal that is gone: all three end a live run in order."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

ENDING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
"""Signals that end a run."""
STDERR = 2


@contextmanager
def endings_set(stop: threading.Event, finishing: str) -> Iterator[None]:
    """A signal ends the run between two turns: what was taken in is recorded and evaluated as a whole.

    Further ones, until all is closed, change nothing; the first of them is answered with
    `finishing`. A signal that is ignored stays so (`nohup`), but for Ctrl-C.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    asked = told = False

    def interrupted(_number: int, _frame: object) -> None:
        # May come in the midst of an earlier one: nothing here may wait for what that one holds.
        nonlocal asked, told
        if not asked and not stop.is_set():
            asked = True
            stop.set()
        elif not told:
            told = True
            # Not through sys.stderr, which may be in the midst of writing.
            with suppress(OSError):
                os.write(STDERR, f"\n{finishing}\n".encode())

    heeded = [n for n in ENDING if n == signal.SIGINT or signal.getsignal(n) is not signal.SIG_IGN]
    before = {number: signal.signal(number, interrupted) for number in heeded}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def ignore_endings() -> None:
    """From here to the end of the command nothing may take the report away."""
    if threading.current_thread() is threading.main_thread():
        for number in ENDING:
            signal.signal(number, signal.SIG_IGN)


@contextmanager
def endings_kept() -> Iterator[None]:
    """What the signals did before is what they do after."""
    before = {number: signal.getsignal(number) for number in ENDING}
    try:
        yield
    finally:
        if threading.current_thread() is threading.main_thread():
            for number, handler in before.items():
                signal.signal(number, handler)
