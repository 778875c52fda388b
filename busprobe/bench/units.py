"""Durations, quantities and units: reading them from text and turning one unit into another.

    "300 ms"   -> 300,000,000 ns          a duration
    "5 mph"    -> 5, "mph"                a quantity
    "kph"      -> "km/h"                  one spelling for each unit

Factors are exact fractions. The mile (1609.344 m), the pound-force per square inch
(0.45359237 kg × 9.80665 m/s² / (0.0254 m)²) and the temperature scales are as defined
in NIST SP 811, Appendix B.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction

from busprobe.bench.spellings import SPELLINGS

_KINDS: tuple[Mapping[str, Fraction | int], ...] = (
    {"m/s": 1, "km/h": Fraction(5, 18), "mph": Fraction("0.44704")},
    {"V": 1, "mV": Fraction(1, 1000), "kV": 1000},
    {"A": 1, "mA": Fraction(1, 1000)},
    {"W": 1, "kW": 1000},
    {"Ohm": 1, "kOhm": 1000},
    {"Hz": 1, "kHz": 1000},
    {"rpm": 1},
    {"%": 1},
    {"Nm": 1},
    {"deg": 1},
    {"K": 1, "degC": 1, "degF": Fraction(5, 9)},
    {"m": 1, "km": 1000, "cm": Fraction(1, 100), "mm": Fraction(1, 1000), "mi": Fraction("1609.344")},
    {"s": 1, "ms": Fraction(1, 1000), "us": Fraction(1, 1_000_000), "min": 60, "h": 3600},
    {
        "Pa": 1,
        "hPa": 100,
        "mbar": 100,
        "kPa": 1000,
        "bar": 100_000,
        "psi": Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2,
    },
    {"L": 1, "mL": Fraction(1, 1000)},
)
"""Units that convert into one another, with their size in the first of them."""

_ZEROS = {"degC": Fraction("273.15"), "degF": Fraction("459.67") * Fraction(5, 9)}
"""Where the zero of a unit lies, in the first unit of its kind."""

_KIND_OF = {unit: number for number, kind in enumerate(_KINDS) for unit in kind}

_DURATION = re.compile(r"([0-9]{1,15}(?:\.[0-9]{1,15})?)\s*(us|µs|μs|ms|s|min|h)")
_NANOSECONDS = {
    "us": 1_000,
    "µs": 1_000,
    "μs": 1_000,
    "ms": 1_000_000,
    "s": 1_000_000_000,
    "min": 60_000_000_000,
    "h": 3_600_000_000_000,
}
_LONGEST_NS = 366 * 24 * _NANOSECONDS["h"]

_QUANTITY = re.compile(r"([+-]?[0-9]{1,15}(?:\.[0-9]{1,15})?)\s*((?![\s0-9.,+\-]).*)")


class UnitError(ValueError):
    """A text that is no duration or quantity, or units that do not convert; says so in one sentence.

    Examples have single quotes, which hold in TOML as in an expression inside double ones.
    """


def duration_ns(text: str) -> int:
    """Whole nanoseconds of a duration such as "300 ms", "2 s", "31 min", "1.5 h" or "20 us".

    Raises UnitError where it is none, is finer than 1 ns or longer than a year.
    """
    match = _DURATION.fullmatch(text.strip())
    if match is None:
        raise UnitError(f"\"{text}\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.")
    ns = Fraction(match[1]) * _NANOSECONDS[match[2]]
    if ns.denominator != 1:
        raise UnitError(f'"{text}" is finer than a nanosecond.')
    if ns > _LONGEST_NS:
        raise UnitError(f'"{text}" is longer than a year.')
    return int(ns)


def quantity(text: str) -> tuple[Fraction, str | None]:
    """Number and unit of a text such as "5 km/h"; the unit is normalised, None where there is none.

    Raises UnitError where the text does not begin with a number.
    """
    match = _QUANTITY.fullmatch(text.strip())
    if match is None:
        raise UnitError(f"\"{text}\" is no quantity: write a number and its unit, such as '5 km/h'.")
    return Fraction(match[1]), normalise(match[2])


def normalise(unit: str | None) -> str | None:
    """The one spelling used here for a unit; None for none; unknown units stay as they are."""
    text = " ".join((unit or "").split())
    if not text:
        return None
    if text in _KIND_OF:
        return text
    key = text.casefold().removeprefix("unit_").replace(" ", "")
    return SPELLINGS.get(key, text)


def exact_factor(from_unit: str | None, to_unit: str | None) -> tuple[Fraction, Fraction] | None:
    """Scale and offset of `to = from × scale + offset`; None where the units do not convert."""
    source, target = normalise(from_unit), normalise(to_unit)
    if source == target:
        return Fraction(1), Fraction(0)
    if source is None or target is None or source not in _KIND_OF or _KIND_OF[source] != _KIND_OF.get(target):
        return None
    sizes = _KINDS[_KIND_OF[source]]
    zero = _ZEROS.get(source, Fraction(0)) - _ZEROS.get(target, Fraction(0))
    return Fraction(sizes[source]) / sizes[target], zero / sizes[target]


def factor_between(from_unit: str | None, to_unit: str | None) -> tuple[float, float] | None:
    """Like `exact_factor`, as floats for arrays."""
    factor = exact_factor(from_unit, to_unit)
    return None if factor is None else (float(factor[0]), float(factor[1]))


def convert(value: float | Fraction, from_unit: str | None, to_unit: str | None) -> float:
    """The value in the other unit, rounded once. Raises UnitError where the units do not convert."""
    factor = exact_factor(from_unit, to_unit)
    if factor is None:
        raise UnitError(f'"{from_unit or "no unit"}" cannot be turned into "{to_unit or "no unit"}".')
    return float(Fraction(value) * factor[0] + factor[1])


def duration_text(ns: int) -> str:
    """A duration in the largest unit that keeps its number short: "300 ms", "31 min", "1.5 h"."""
    for unit in ("h", "min", "s", "ms", "us"):
        number = Fraction(ns, _NANOSECONDS[unit])
        if number >= 1 and (number * 1000).denominator == 1:
            return f"{float(number):.12g} {unit}"
    return f"{ns} ns" if ns else "0 ms"


def is_quantity(text: str) -> bool:
    """Whether a text is a number, or one with a unit."""
    try:
        quantity(text)
    except UnitError:
        return False
    return True
