"""Options of an input box in the bench file, read by type; each error stands at the box's place in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from busprobe.bench.model import InputBox
from busprobe.bench.section import error_at, found
from busprobe.bench.units import UnitError, duration_ns
from busprobe.errors import BenchError, nearest

SERIAL_KEYS = ("baudrate", "parity", "stopbits")
MOST_ON_OFF = 64
"""On/off lines of a box: they are the bits of one word."""


@dataclass(frozen=True)
class SerialSettings:
    """How a serial port is opened."""

    port: str
    baudrate: int
    parity: str
    """"N" none, "E" even, "O" odd."""
    stopbits: int

    @property
    def bits(self) -> int:
        """Bits of a character: start, eight of data, parity, stop."""
        return 1 + 8 + (self.parity != "N") + self.stopbits

    def __str__(self) -> str:
        return f"{self.baudrate} baud, parity {self.parity}, {self.stopbits} stop bit{'s' * (self.stopbits > 1)}"


class BoxOptions:
    """The options of one box; everything here raises BenchError."""

    def __init__(self, box: InputBox, known: Sequence[str]) -> None:
        self._box = box
        self.title = f'the input box "{box.name}"'
        for key in box.options:
            if key not in known:
                names = ", ".join(f'"{name}"' for name in known)
                hint = f'Options of the driver "{box.driver}": {names}.'
                raise self.error(f'Unknown option "{key}" of {self.title}.{nearest(key, known)}', hint)

    def error(self, message: str, hint: str | None = None) -> BenchError:
        return error_at(self._box.origin, message, hint)

    def serial(self, baudrate: int, stopbits: int) -> SerialSettings:
        """Port and settings; the arguments hold where the bench file says nothing."""
        if self._box.port is None:
            raise self.error(f'The input box "{self._box.name}" has no "port".', 'Add one, such as port = "COM3".')
        return SerialSettings(
            self._box.port,
            self.whole("baudrate", baudrate, least=300, most=4_000_000),
            self.choice("parity", "N", ("N", "E", "O")),
            self.whole("stopbits", stopbits, least=1, most=2),
        )

    def whole(self, key: str, default: int, *, least: int, most: int) -> int:
        value = self._box.options.get(key, default)
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            raise self._wrong(key, f"a whole number from {least} to {most}")
        return value

    def number(self, key: str, default: float, *, most: float) -> float:
        """A number above 0."""
        value = self._box.options.get(key, default)
        if not isinstance(value, int | float) or isinstance(value, bool) or not 0 < value <= most:
            raise self._wrong(key, f"a number above 0, at most {most:g}")
        return float(value)

    def flag(self, key: str) -> bool:
        """True or false; false where the bench file says nothing."""
        value = self._box.options.get(key, False)
        if not isinstance(value, bool):
            raise self._wrong(key, "true or false")
        return value

    def choice(self, key: str, default: str, allowed: Sequence[str]) -> str:
        value = self._box.options.get(key, default)
        if value not in allowed:
            raise self._wrong(key, " or ".join(f'"{name}"' for name in allowed))
        return str(value)

    def duration(self, key: str, default_ns: int) -> int:
        """Nanoseconds."""
        value = self._box.options.get(key)
        if value is None:
            return default_ns
        try:
            return duration_ns(str(value))
        except UnitError:
            raise self._wrong(key, 'a duration in quotes, such as "300 ms"') from None

    def counts(self, *, on_off: int, analogue: int) -> tuple[int, int]:
        """How many on/off and analogue lines are to be read: one more than the greatest number in use.

        on_off, analogue: how many the driver can have.
        """
        greatest = {False: -1, True: -1}
        for line in self._box.lines:
            kind, most = ("analogue", analogue) if line.analogue else ("on/off", on_off)
            if line.number >= most:
                there = f"numbers them 0 to {most - 1}" if most else "has none"
                message = f'The {kind} line "{line.name}" of {self.title} has the number "{line.number}"'
                raise error_at(line.origin, f'{message}: the driver "{self._box.driver}" {there}.')
            greatest[line.analogue] = max(greatest[line.analogue], line.number)
        return greatest[False] + 1, greatest[True] + 1

    def _wrong(self, key: str, wanted: str) -> BenchError:
        value = found(self._box.options[key])
        return self.error(f'The option "{key}" of {self.title} must be {wanted}; found {value}.')
