"""Modem lines: CTS, DSR, DCD and RI of any serial adapter as on/off lines 0 to 3.

A line is asserted while its voltage is positive (over +3 V, TIA-232-F) on an adapter with
RS-232 levels, and while it is low on one with logic levels. An open RS-232 input is not asserted
(common practice, no source). DTR and RTS are held asserted, so that a contact may be wired from
one of them to an input.
"""

from __future__ import annotations

import errno

from busprobe.bench.model import InputBox
from busprobe.errors import DeviceError
from busprobe.sources.box_options import BoxOptions, SerialSettings
from busprobe.sources.clock import Clock
from busprobe.sources.polled_box import Fault, Poll, PolledBox
from busprobe.sources.serial_port import OpenPort, Port, gone, open_port
from busprobe.sources.wire_time import MS_NS

OPTIONS = ("levels", "latency")
LINES = ("CTS", "DSR", "DCD", "RI")
"""By number."""
LEVELS = ("rs232", "ttl")
LATENCY_NS = 16 * MS_NS
"""USB adapters tell of a change this much later at most: their usual setting (common practice, no source)."""
LEAST_PERIOD_NS = MS_NS
"""USB adapters are asked once a millisecond at most."""


def modem_box(box: InputBox, opener: OpenPort = open_port) -> PolledBox:
    """A box with the driver "modem-lines". Raises BenchError for its options."""
    options = BoxOptions(box, OPTIONS)
    options.counts(on_off=len(LINES), analogue=0)
    if box.period_ns < LEAST_PERIOD_NS:
        message = f'The input box "{box.name}" cannot be read more often than every 1 ms.'
        raise options.error(message, 'Make "period" at least "1 ms".')
    settings = options.serial(baudrate=9600, stopbits=1)
    is_ttl = options.choice("levels", "rs232", LEVELS) == "ttl"
    poller = ModemPoller(box.name, settings, opener, is_ttl=is_ttl)
    return PolledBox(box, poller, late_ns=options.duration("latency", LATENCY_NS))


class ModemPoller:
    """Reads the four lines."""

    def __init__(self, box: str, settings: SerialSettings, opener: OpenPort, *, is_ttl: bool) -> None:
        self._box = box
        self._settings = settings
        self._open_port = opener
        self._asserted_low = 0b1111 if is_ttl else 0
        self._port: Port = None

    def connect(self) -> None:
        self._port = self._open_port(self._box, self._settings, 0.0)

    def disconnect(self) -> None:
        port, self._port = self._port, None
        if port is not None:
            port.close()

    def poll(self, clock: Clock) -> Poll | Fault:
        port = self._port
        request_ns = clock.now_ns()
        try:
            asserted = port.cts | port.dsr << 1 | port.cd << 2 | port.ri << 3
        except OSError as error:
            raise self._no_lines(error) from error
        return Poll(request_ns, clock.now_ns(), asserted ^ self._asserted_low)

    def _no_lines(self, error: OSError) -> DeviceError:
        if error.errno in (errno.ENOTTY, errno.EINVAL):
            return DeviceError(
                f'The serial port "{self._settings.port}" of the input box "{self._box}" has no modem lines.',
                hint="Use an adapter that brings out CTS, DSR, DCD and RI.",
            )
        return gone(self._box, self._settings.port)
