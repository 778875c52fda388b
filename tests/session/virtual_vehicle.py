"""A vehicle on python-can's virtual bus."""

import threading
import time

import can

from busprobe.bench.load import loads
from busprobe.bench.model import Bench
from busprobe.van.control_units import ControlUnits

BENCH = """\
[vehicle]
name = "van"
[[bus]]
name = "body"
interface = "virtual"
channel = "{channel}"
listen_only = {listen_only}
[obd]
bus = "body"
{poll}
"""
POLL = 'poll = ["0C", "42"]\nevery = "200 ms"'


class Vehicle(threading.Thread):
    """Control units on a virtual bus, until the test is over."""

    def __init__(self, channel, *units):
        super().__init__(daemon=True)
        self.units = ControlUnits(units)
        self.heard = []
        self._bus = can.Bus(interface="virtual", channel=channel)
        self._is_over = threading.Event()

    def run(self):
        while not self._is_over.is_set():
            message = self._bus.recv(0.002)
            now_ns = time.monotonic_ns()
            if message is not None:
                self.heard.append((message.arbitration_id, bytes(message.data)))
                self.units.feed(now_ns, *self.heard[-1])
            for _, identifier, data in self.units.due(now_ns):
                self._bus.send(can.Message(arbitration_id=identifier, is_extended_id=identifier > 0x7FF, data=data))

    def has_read(self):
        """Whether nothing waits for it on the bus."""
        return self._bus.queue.empty()

    def stop(self):
        self._is_over.set()
        self.join(5)
        self._bus.shutdown()


def polling_bench(channel: str, poll: str = POLL, listen_only: str = "false", signals: str = "") -> Bench:
    """A bench file that polls on a virtual bus. signals: its further tables."""
    return loads(BENCH.format(channel=channel, poll=poll, listen_only=listen_only) + signals)
