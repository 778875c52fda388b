"""Input boxes by the driver that the bench file names."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from busprobe.bench.model import Bus, InputBox
from busprobe.bench.section import error_at
from busprobe.errors import nearest
from busprobe.sources.live import LiveSource
from busprobe.sources.modbus_box import modbus_box
from busprobe.sources.modem_box import modem_box
from busprobe.sources.ports import device_path
from busprobe.sources.text_box import TextBox

BOXES: Mapping[str, Callable[[InputBox], LiveSource]] = MappingProxyType(
    {"modbus": modbus_box, "modem-lines": modem_box, "text-lines": TextBox}
)
"""All drivers; a new one is a module and a line here."""


def open_box(box: InputBox) -> LiveSource:
    """The live source of a box; its port is opened by the source's `open`.

    Raises BenchError where the options, line numbers or period of the box do not fit the driver.
    """
    driver = BOXES.get(box.driver)
    if driver is None:
        known = " or ".join(f'"{name}"' for name in BOXES)
        message = f'The driver "{box.driver}" of the input box "{box.name}" reads no live lines.'
        raise error_at(box.origin, message, f"For live work use the driver {known}.{nearest(box.driver, BOXES)}")
    return driver(box)


SERIAL_BUSES = ("robotell", "seeedstudio", "serial", "slcan")
"""Interfaces whose channel is a serial port, "@" and a rate after it allowed."""


def refuse_faulty_boxes(boxes: Sequence[InputBox]) -> None:
    """Raise BenchError for the first box whose options, line numbers or period do not fit its driver.

    A box without a port will do: recordings need none.
    """
    for box in boxes:
        if box.driver in BOXES:
            open_box(box if box.port else replace(box, port="none"))


def refuse_shared_ports(buses: Sequence[Bus], boxes: Sequence[InputBox]) -> None:
    """Raise BenchError where two boxes, or a bus and a box, would open the same serial port."""
    taken = {
        _port(bus.channel.partition("@")[0]): f'the bus "{bus.name}"'
        for bus in buses
        if bus.interface in SERIAL_BUSES and bus.channel
    }
    for box in boxes:
        if box.driver not in BOXES or box.port is None:
            continue
        mine = f'the input box "{box.name}"'
        other = taken.setdefault(_port(box.port), mine)
        if other != mine:
            message = f'{other[0].upper()}{other[1:]} and {mine} use the same port, "{box.port}".'
            raise error_at(box.origin, message, 'Give each a "port" of its own; "busprobe adapters" lists them.')


def _port(name: str) -> str:
    """One name for a port that may have several."""
    return os.path.normcase(os.path.realpath(device_path(name)))
