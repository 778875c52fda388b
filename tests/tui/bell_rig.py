"""The real program on a live bench of its own, whose edges are made here and whose bell is heard here.

box    a pseudo-terminal on which a door switch is printed every 10 ms
bus    a udp_multicast bus with a brake pedal, sent every 20 ms and at every change
bell   BEL bytes on the pseudo-terminal that the program shows itself on
"""

from __future__ import annotations

import os
import pty
import socket
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import can
from pseudo_terminal import Terminal

from busprobe.van.load import GROUP

PERIOD_S, CYCLE_S = 0.010, 0.020
DEBOUNCE_MS = 20
IDENTIFIER = 0x100
PATIENCE_S = 60.0
QUIET_S = 0.8
"""Without a bell for this long nothing more is to come of what was before."""
BEL = b"\x07"
DATABASE = f'VERSION ""\n\nBU_: Van\n\nBO_ {IDENTIFIER} Brake: 1 Van\n SG_ Pedal : 0|1@1+ (1,0) [0|1] "" Van\n'
SOURCES = {"wire": "box.door", "frame": "body.Brake.Pedal"}
BENCH = """\
[vehicle]
name = "bell"
[[bus]]
name = "body"
interface = "udp_multicast"
channel = "{group}"
port = {port}
databases = ["bell.dbc"]
[[inputs]]
name = "box"
driver = "text-lines"
port = "{box}"
period = "10 ms"
[[inputs.line]]
name = "door"
number = 0
debounce = "{debounce} ms"
[signals]
side_door = {{ from = "{source}", role = "door" }}
"""


class Bench:
    """Prints lines and sends frames from a thread, until it is closed."""

    def __init__(self) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind(("", 0))
            self.udp_port = int(probe.getsockname()[1])
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.box = os.ttyname(self._slave)
        self._bus = can.Bus(interface="udp_multicast", channel=GROUP, port=self.udp_port, hop_limit=0)
        self._levels = {"wire": 0, "frame": 0}
        self._over = threading.Event()
        self._threads = [threading.Thread(target=run) for run in (self._print, self._send)]
        for thread in self._threads:
            thread.start()

    def flip(self, what: str) -> float:
        """Change a level; returns when, on the performance counter. A wire is read at the next poll."""
        self._levels[what] ^= 1
        at = time.perf_counter()
        if what == "frame":
            self._send_one()
        return at

    def _print(self) -> None:
        begin = time.perf_counter()
        for number in range(1, 1 << 62):
            if self._over.wait(max(begin + number * PERIOD_S - time.perf_counter(), 0.0)):
                return
            text = f"{round((time.perf_counter() - begin) * 1e6)} {self._levels['wire']}0000000"
            try:
                os.write(self._master, f"{text} #{sum(text.encode()) & 255:02X}\n".encode())
            except BlockingIOError:
                continue  # nobody has opened it yet

    def _send(self) -> None:
        while not self._over.wait(CYCLE_S):
            self._send_one()

    def _send_one(self) -> None:
        message = can.Message(arbitration_id=IDENTIFIER, is_extended_id=False, data=[self._levels["frame"]])
        self._bus.send(message)

    def close(self) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join()
        self._bus.shutdown()
        os.close(self._master)
        os.close(self._slave)


class Walk:
    """The guided walk of the program, the bell on and one role asked for."""

    def __init__(self, terminal: Terminal, flip: Callable[[], float]) -> None:
        self._terminal = terminal
        self._flip = flip

    def edge_to_bell(self) -> float:
        """Make an edge; s until the bell was there. TimeoutError if it never rings."""
        at = self._flip()
        while time.perf_counter() < at + PATIENCE_S:
            if BEL in self._terminal.read(0.05):
                return time.perf_counter() - at
        raise TimeoutError(f"no bell; last: {self._terminal.last_words()}")

    def rest(self, seconds: float) -> None:
        """Nothing for a while; what the program shows is read on, so that it is not held up."""
        until = time.perf_counter() + seconds
        while (left := until - time.perf_counter()) > 0:
            self._terminal.read(left)

    def ask_again(self) -> None:
        """The same action from its start; returns once the prompt has been rung."""
        self._terminal.press("a")
        self.hear_out()

    def hear_out(self) -> None:
        """Until no bell has rung for a while."""
        until = time.perf_counter() + QUIET_S
        while time.perf_counter() < until:
            if BEL in self._terminal.read(0.05):
                until = time.perf_counter() + QUIET_S


@contextmanager
def walking(folder: Path, what: str) -> Iterator[Walk]:
    """what: the kind of edge, "wire" or "frame". A folder for the bench file and the program's state."""
    with closing(Bench()) as bench:
        (folder / "bell.dbc").write_text(DATABASE, encoding="utf-8")
        text = BENCH.format(group=GROUP, port=bench.udp_port, box=bench.box, debounce=DEBOUNCE_MS, source=SOURCES[what])
        (folder / "bell.toml").write_text(text, encoding="utf-8")
        command = [sys.executable, "-m", "busprobe", "open", "live", "--bench", str(folder / "bell.toml")]
        with closing(Terminal(command, 80, 24, {"XDG_STATE_HOME": str(folder / "state")})) as terminal:
            terminal.read_until("Before you start", PATIENCE_S)
            terminal.press("\r")
            terminal.read_until("F3 Signals", PATIENCE_S)
            terminal.press("6")
            terminal.read_until("1 role to confirm", PATIENCE_S)
            terminal.press("b")
            terminal.read_until("bell on", PATIENCE_S)
            terminal.press("s")
            terminal.read_until("1 of 1", PATIENCE_S)
            walk = Walk(terminal, lambda: bench.flip(what))
            walk.hear_out()
            yield walk
            terminal.press("q")
            terminal.wait(PATIENCE_S)
