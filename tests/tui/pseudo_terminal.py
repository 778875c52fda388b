"""A program on the other side of a pseudo-terminal: written to and read like a person would."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import termios
import time
from collections.abc import Mapping, Sequence

_ESCAPES = re.compile(rb"\x1b\[[0-9;?<>=:]*[a-zA-Z]|\x1b\][^\x07\x1b]*(\x07|\x1b\\)|\x1b[()][A-Z0-9]")
_KEPT = 100_000
"""Bytes of output that are searched."""


class Terminal:
    """Starts a program; `close` ends it."""

    def __init__(self, command: Sequence[str], columns: int, lines: int, more: Mapping[str, str] | None = None) -> None:
        """more: variables of the environment."""
        self._fd, slave = pty.openpty()
        self._slave = slave
        self._open: tuple[int, ...] = (slave, self._fd)
        self.resize(columns, lines)
        environment = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "TEXTUAL_THEME")}
        environment |= {"TERM": "xterm-256color", "COLORTERM": "truecolor", **(more or {})}
        self.process = subprocess.Popen(
            list(command), stdin=slave, stdout=slave, stderr=slave, env=environment, start_new_session=True
        )
        self.count = 0
        """Bytes that came."""
        self.tail = b""

    def resize(self, columns: int, lines: int) -> None:
        fcntl.ioctl(self._slave, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
        if hasattr(self, "process"):
            os.killpg(self.process.pid, signal.SIGWINCH)

    def read(self, patience_s: float) -> bytes:
        """What comes within that time, b"" where nothing does."""
        ready, _, _ = select.select([self._fd], [], [], patience_s)
        if not ready:
            return b""
        try:
            data = os.read(self._fd, 1 << 16)
        except OSError:  # Linux: the other side has gone
            return b""
        self.count += len(data)
        self.tail = (self.tail + data)[-_KEPT:]
        return data

    def drain(self) -> None:
        """Read all that is there, and forget it."""
        while self.read(0.0):
            pass
        self.tail = b""

    def read_until(self, words: str, patience_s: float) -> float:
        """When the words were there since the last `drain`, on the performance counter; TimeoutError if never."""
        deadline = time.perf_counter() + patience_s
        wanted = words.encode()
        while time.perf_counter() < deadline:
            if wanted in self.text():
                return time.perf_counter()
            self.read(0.05)
        raise TimeoutError(f'"{words}" did not come within {patience_s:g} s; last: {self.last_words()}')

    def text(self) -> bytes:
        """What came since the last `drain`, without escape sequences."""
        return _ESCAPES.sub(b"", self.tail)

    def last_words(self) -> str:
        """The end of it, for messages."""
        return self.text()[-1500:].decode(errors="replace")

    def press(self, keys: str) -> float:
        """Send keys; returns when, on the performance counter."""
        os.write(self._fd, keys.encode())
        return time.perf_counter()

    def wait(self, patience_s: float) -> int:
        """Exit status; reads on, so that the program is not held up."""
        deadline = time.perf_counter() + patience_s
        while self.process.poll() is None and time.perf_counter() < deadline:
            self.read(0.05)
        if self.process.returncode is None:
            raise TimeoutError(f"it goes on; last: {self.last_words()}")
        return self.process.returncode

    def hang_up(self) -> None:
        """The terminal goes away, as when its window is closed or the line to it is lost."""
        for fd in self._open:
            os.close(fd)
        self._open = ()

    def close(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(10)
        self.hang_up()
