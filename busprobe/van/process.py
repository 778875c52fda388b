"""The simulated van in a process of its own, so that it takes no time from the program that watches it."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Callable, Collection
from contextlib import suppress
from pathlib import Path
from typing import IO

from busprobe.errors import DeviceError
from busprobe.van.live_faults import KEYS, LIVE_FAULTS

ENDED = "The simulated van has ended."
PATIENCE_S = 30.0
"""Longest wait for the van to drive, or to end."""


class VanProcess:
    """`busprobe simulate` on a bench file, driving once this is made.

    Its stdin is a pipe from this process, and it ends when that does: by `close`, or because this
    process is gone. Raises DeviceError where the van does not start.
    """

    def __init__(self, bench: Path, *, from_s: int = 0) -> None:
        command = [sys.executable, "-m", "busprobe", "simulate", "--bench", str(bench), "--from", f"{from_s}s"]
        self._process = subprocess.Popen(
            [*command, "--stdin"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True, encoding="utf-8", start_new_session=True,
        )  # fmt: skip
        self._set: set[str] = set()
        self._drives = threading.Event()
        self._said: list[str] = []
        """What it wrote to stderr."""
        self._readers = [
            threading.Thread(target=self._hear, args=(stream, note), name="van", daemon=True)
            for stream, note in ((self._process.stdout, self._note_line), (self._process.stderr, self._said.append))
        ]
        for reader in self._readers:
            reader.start()
        if not self._drives.wait(PATIENCE_S) or self.trouble:
            self.close()
            raise DeviceError(self.trouble or "The simulated van does not start.")

    @property
    def faults(self) -> tuple[str, ...]:
        """Names of all faults, the common ones first."""
        return tuple(dict.fromkeys([fault.name for fault in KEYS.values()] + list(LIVE_FAULTS)))

    @property
    def faults_set(self) -> Collection[str]:
        """None once it has ended."""
        return () if self.trouble else self._set

    @property
    def trouble(self) -> str:
        """Why it drives no more; empty while it does."""
        if self._process.poll() is None:
            return ""
        return "".join(self._said).strip() or ENDED

    def toggle(self, fault: str) -> None:
        """Set a fault by its name, or take it back; the van does it within about a second."""
        if self._process.stdin is None or self.trouble:
            return
        try:
            self._process.stdin.write(f"{fault}\n")
            self._process.stdin.flush()
        except (BrokenPipeError, ValueError):  # it has ended just now
            return
        self._set ^= {fault}

    def close(self) -> None:
        """End it, and wait until it has taken its ports away; harmless twice."""
        if self._process.stdin is not None:
            with suppress(BrokenPipeError):
                self._process.stdin.close()
        try:
            self._process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        for reader in self._readers:
            reader.join(PATIENCE_S)

    # Two threads that read, so that the van is never held up.

    def _hear(self, stream: IO[str], note: Callable[[str], None]) -> None:
        with stream:
            for line in stream:
                note(line)
        self._drives.set()

    def _note_line(self, _: str) -> None:
        """It prints once it drives."""
        self._drives.set()
