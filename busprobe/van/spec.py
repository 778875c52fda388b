"""What a message of the van looks like: the tables in drivetrain.py and bodywork.py are made of these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType


@dataclass(frozen=True)
class Wander:
    """A quantity of no consequence that drifts up and down between two values."""

    low: float
    high: float
    period_s: float


class Guard(Enum):
    """What protects a message against loss and damage; the rules are this van's own."""

    COUNTER = "counter"
    """Counts the frames of this message, 0 to the signal's greatest value and round again."""
    XOR = "exclusive or"
    """Exclusive or of all other bytes, of the identifier's low byte and of 0xA5."""
    SUM = "sum"
    """Low byte of the sum of all other bytes and of the identifier's low byte."""


Source = str | float | Wander | Guard
"""Name of a quantity of the world, a constant, or one of the above."""


@dataclass(frozen=True)
class SignalSpec:
    name: str
    start: int
    """Start bit as the database counts it: the highest bit of a big-endian signal."""
    bits: int
    source: Source
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    big_endian: bool = False
    signed: bool = False
    labels: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))
    only_when: int | None = None
    """Value of the message's multiplexer that the signal belongs to."""
    selects: bool = False
    """This signal is the multiplexer."""
    comment: str = ""

    @property
    def raw_limits(self) -> tuple[int, int]:
        if self.signed:
            return -(1 << (self.bits - 1)), (1 << (self.bits - 1)) - 1
        return 0, (1 << self.bits) - 1

    @property
    def pieces(self) -> tuple[tuple[int, int, int], ...]:
        """(lowest raw bit, width, place in the payload word) of each run of bits in order."""
        if not self.big_endian:
            return ((0, self.bits, self.start),)
        out = []
        left, byte, top = self.bits, self.start // 8, self.start % 8
        while left:
            width = min(left, top + 1)
            out.append((left - width, width, byte * 8 + top + 1 - width))
            left, byte, top = left - width, byte + 1, 7
        return tuple(out)


@dataclass(frozen=True)
class MessageSpec:
    identifier: int
    name: str
    length: int
    sender: str
    signals: tuple[SignalSpec, ...]
    cycle_ms: int = 0
    """0: not cyclic."""
    on_change: bool = False
    """Also, or only, sent when one of its signals changes."""
    comment: str = ""

    @property
    def is_extended(self) -> bool:
        return self.identifier > 0x7FF

    @property
    def send_type(self) -> str:
        if self.on_change:
            return "CyclicAndOnChange" if self.cycle_ms else "OnChange"
        return "Cyclic"


def little(name: str, start: int, bits: int, source: Source, scale: float = 1.0, unit: str = "",
           offset: float = 0.0, signed: bool = False, comment: str = "") -> SignalSpec:  # fmt: skip
    """A little-endian quantity."""
    return SignalSpec(name, start, bits, source, scale, offset, unit, signed=signed, comment=comment)


def big(name: str, start: int, bits: int, source: Source, scale: float = 1.0, unit: str = "",
        offset: float = 0.0, signed: bool = False, comment: str = "") -> SignalSpec:  # fmt: skip
    """A big-endian quantity; `start` is its highest bit."""
    return SignalSpec(name, start, bits, source, scale, offset, unit, True, signed, comment=comment)


def choice(name: str, start: int, bits: int, source: Source, *labels: str, comment: str = "") -> SignalSpec:
    """An enumerated signal; the greatest raw value means "Not available"."""
    table = dict(enumerate(labels)) | {(1 << bits) - 1: "Not available"}
    return SignalSpec(name, start, bits, source, labels=MappingProxyType(table), comment=comment)


def switch(name: str, start: int, source: Source, off: str = "Off", on: str = "On", comment: str = "") -> SignalSpec:
    """A 2-bit switch: off, on, 2 "Error", 3 "Not available"."""
    return choice(name, start, 2, source, off, on, "Error", comment=comment)


def counter(start: int, bits: int = 4) -> SignalSpec:
    return SignalSpec("Counter", start, bits, Guard.COUNTER)


def checksum(byte: int, rule: Guard) -> SignalSpec:
    return SignalSpec("Checksum", byte * 8, 8, rule)
