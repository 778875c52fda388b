"""Input boxes by the driver that the bench file names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from busprobe.bench.model import InputBox
from busprobe.bench.section import error_at
from busprobe.errors import nearest
from busprobe.sources.live import LiveSource
from busprobe.sources.modbus_box import modbus_box
from busprobe.sources.modem_box import modem_box
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
