"""One quantity of an OBD answer: where its bits stand and what they mean.

    data bytes    A        B        C        D          as SAE J1979 names them
    index         0        1        2        3

    raw = the unsigned (or two's complement) number in its bytes, high byte first,
          then `bits` bits from `shift` up where it is narrower than its bytes
    value = raw * factor / divisor + offset, or `meaning(raw)`

Formulas and bit places are those of SAE J1979 (ISO 15031-5).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

Value = float | str | bool | tuple[str, ...]
NO_LABELS: Mapping[int, str] = MappingProxyType({})


@dataclass(frozen=True)
class Scale:
    """From a raw number to a value in its unit."""

    factor: int
    divisor: int
    offset: int
    unit: str | None
    """None for a bare number: a count, a ratio, a gear."""
    signed: bool = False
    absent: int | None = None
    """Raw value that means "no value"."""


PLAIN = Scale(1, 1, 0, None)


@dataclass(frozen=True)
class Quantity:
    """One quantity of a PID."""

    name: str
    """As in a bench file after `obd.`: "0D", or "14.voltage" where the PID has several."""
    title: str
    pid: int
    length: int
    """Data bytes of the whole PID in an answer (the usual number where it may vary)."""
    first: int
    width: int
    """Bytes `first` to `first + width - 1` hold it."""
    scale: Scale = PLAIN
    shift: int = 0
    bits: int | None = None
    """Number of bits; None: all of its bytes."""
    meaning: Callable[[int], Value] | None = None
    """Value of a raw number that is no plain scaled one."""
    labels: Mapping[int, str] = field(default_factory=lambda: NO_LABELS, hash=False)
    """Raw value -> what it stands for; empty where the quantity is not enumerated."""
    is_condition: bool = False
    """On or off: the value is True or False."""
    support_bit: int | None = None
    """Bit of byte A that says whether the unit supports it; None: no such bit."""

    @property
    def unit(self) -> str | None:
        return self.scale.unit

    @property
    def minimum(self) -> float | None:
        """Least value that can be sent; None where the value is no number."""
        return self._bound(highest=False)

    @property
    def maximum(self) -> float | None:
        """Greatest value that can be sent; None where the value is no number."""
        return self._bound(highest=True)

    def _bound(self, *, highest: bool) -> float | None:
        if self.meaning is not None:
            return None
        bits = 8 * self.width if self.bits is None else self.bits
        if self.scale.signed:
            return self._scaled((1 << bits - 1) - 1 if highest else -1 << bits - 1)
        return self._scaled((1 << bits) - 1 if highest else 0)

    def _scaled(self, raw: int) -> float:
        return raw * self.scale.factor / self.scale.divisor + self.scale.offset

    def raw(self, data: bytes) -> int | None:
        """The raw number in the PID's data bytes, None where the unit does not give it."""
        end = self.first + self.width
        if end > len(data) or (self.support_bit is not None and not data[0] >> self.support_bit & 1):
            return None
        raw = int.from_bytes(data[self.first : end], "big", signed=self.scale.signed)
        if self.bits is not None:
            raw = raw >> self.shift & (1 << self.bits) - 1
        return None if raw == self.scale.absent else raw

    def value(self, raw: int) -> Value:
        """What a raw number says."""
        return self._scaled(raw) if self.meaning is None else self.meaning(raw)
