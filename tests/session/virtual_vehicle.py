"""A vehicle on python-can's virtual bus."""

import threading
import time

import can

from busprobe.van.control_units import ControlUnits


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

    def stop(self):
        self._is_over.set()
        self.join(5)
        self._bus.shutdown()
