"""Which bus and which input box of a bench file the simulated van takes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol, TypeVar

from busprobe.bench.model import Bench, Bus, InputBox
from busprobe.errors import BenchError, DeviceError
from busprobe.sources.ports import VAN_PREFIX, van_port
from busprobe.van.box import BOX, WIRES
from busprobe.van.box_ports import LevelsAt, ModbusPort, TextLinePort
from busprobe.van.catalogue import BUS

_Item = TypeVar("_Item", Bus, InputBox)


class BoxPort(Protocol):
    """A simulated input box on a pseudo-terminal."""

    port: str
    """Path of the pseudo-terminal."""

    def start(self) -> object: ...
    def close(self) -> None: ...


def van_bus(bench: Bench) -> Bus:
    """The bus that the van sends on: the one named "body", else the only one."""
    return _named(bench.buses, BUS, "bus", bench.path)


def van_box(bench: Bench, levels: LevelsAt, now_ns: Callable[[], int]) -> BoxPort | None:
    """The van's input box: the one named "box", else the only one; None where there is none.

    Raises DeviceError where its driver or port cannot be simulated.
    """
    if not bench.boxes:
        return None
    box = _named(bench.boxes, BOX, "input box", bench.path)
    if box.port is None or not box.port.startswith(VAN_PREFIX):
        raise _trouble(
            box,
            f'The input box "{box.name}" has the port "{box.port or ""}", which is not the simulated van\'s.',
            f'Write port = "{VAN_PREFIX}{box.name}" for it, or another name that begins with "{VAN_PREFIX}".',
        )
    link = van_port(box.port)
    if box.driver == "text-lines":
        return TextLinePort(levels, len(WIRES), period_ns=box.period_ns, now_ns=now_ns, link=link)
    if box.driver == "modbus":
        unit, scale = int(box.options.get("unit", 1)), float(box.options.get("scale", 1.0))
        return ModbusPort(levels, unit=unit, scale=scale, now_ns=now_ns, link=link)
    raise _trouble(
        box,
        f'The simulated van has no input box with the driver "{box.driver}".',
        'It has "text-lines" and "modbus".',
    )


def _named(items: tuple[_Item, ...], name: str, kind: str, path: Path | None) -> _Item:
    for item in items:
        if item.name == name or len(items) == 1:
            return item
    raise BenchError(
        f'The simulated van has one {kind}, "{name}"; the bench file names none so.',
        path=path,
        hint=f'Name the {kind} "{name}" that is the simulated van\'s.',
    )


def _trouble(box: InputBox, message: str, hint: str) -> DeviceError:
    return DeviceError(message, path=box.origin.path, line=box.origin.line, hint=hint)
