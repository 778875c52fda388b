"""`busprobe record live` in a process group of its own, on a bus on which frames count up, until it is killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from typing import Self

import can

from busprobe.recording.schema import wal_of
from busprobe.van.load import GROUP

EVERY_S, HELD_S = 0.005, 0.1
IDENTIFIER = 0x0F6
LOOKED_BACK_S = 2.0
BEGIN_S = 120.0
BEGUN = 4
"""Sizes of the log after which frames are in it: none, the tables, the first commits."""
BENCH = """[vehicle]
name = "killed"
[[bus]]
name = "body"
interface = "udp_multicast"
channel = "{group}"
port = {port}
"""


class RecordLive:
    """The command, and who sends. Leaving it ends both."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind(("", 0))
            port = probe.getsockname()[1]
        bench = path.with_suffix(".toml")
        bench.write_text(BENCH.format(group=GROUP, port=port), encoding="utf-8")
        self._bus = can.Bus(interface="udp_multicast", channel=GROUP, port=port, hop_limit=0)
        self._over = threading.Event()
        self._sent_s: list[float] = []
        """When each frame was sent; its place is the number that it carries."""
        self._waited: list[tuple[float, float]] = []
        """Now and then, for how long the machine had let the command wait until then."""
        command = [sys.executable, "-m", "busprobe", "record", "live", "--bench", str(bench), "--out", str(path)]
        self._said = path.with_suffix(".said").open("w+", encoding="utf-8")
        self._process = subprocess.Popen(
            command, stdout=self._said, stderr=self._said, stdin=subprocess.DEVNULL, start_new_session=True
        )
        self._sender = threading.Thread(target=self._send, daemon=True)
        self._sender.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        if self._process.poll() is None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
        self._sender.join()
        self._said.close()
        self._bus.shutdown()

    def wait_begun(self) -> None:
        """Until frames have been committed, as its log tells, which grows at each commit; the file itself is locked."""
        end, sizes = time.monotonic() + BEGIN_S, set[int]()
        log = wal_of(self.path)
        while len(sizes) < BEGUN:
            if log.exists():
                sizes.add(log.stat().st_size)
            assert self._process.poll() is None, self._all_said()
            assert time.monotonic() < end, f"nothing is recorded: {self._all_said()}"
            time.sleep(0.02)

    def kill(self) -> None:
        """All of its group, at once, and send no more."""
        assert self._process.poll() is None, f"it ended before it was killed: {self._all_said()}"
        os.killpg(self._process.pid, signal.SIGKILL)
        self._over.set()
        self._process.wait()
        self._sender.join()

    def missing_s(self, newest: int) -> float:
        """For how long frames were sent after one, but for the time that the machine kept the command from reading.

        Where it kept the sender from sending, none was sent.
        """
        killed_s = self._sent_s[-1]
        sent_for_s = sum(min(later - earlier, HELD_S) for earlier, later in pairwise(self._sent_s[newest:]))
        back = [waited for at, waited in self._waited if at >= killed_s - LOOKED_BACK_S]
        return sent_for_s - (back[-1] - back[0] if back else 0.0)

    def _send(self) -> None:
        while not self._over.wait(EVERY_S):
            payload = len(self._sent_s).to_bytes(8, "little")
            self._sent_s.append(time.monotonic())
            self._bus.send(can.Message(arbitration_id=IDENTIFIER, is_extended_id=False, data=payload))
            if len(self._sent_s) % 20 == 0:
                self._waited.append((time.monotonic(), waited_s(self._process.pid)))

    def _all_said(self) -> str:
        self._said.seek(0)
        return self._said.read()


def waited_s(pid: int) -> float:
    """For how long all threads of a process were ready and had no processor; 0 where the system does not say."""
    waited_ns = 0
    for thread in Path(f"/proc/{pid}/task").glob("*/schedstat"):
        with suppress(OSError, ValueError, IndexError):  # a thread that has ended
            waited_ns += int(thread.read_text().split()[1])
    return waited_ns / 1e9
