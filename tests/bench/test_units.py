"""Durations, quantities and unit conversion.

Factors: NIST SP 811 (2008), Appendix B.8 and B.9 (values from memory of that table).
"""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.bench.units import (
    UnitError,
    convert,
    duration_ns,
    duration_text,
    exact_factor,
    factor_between,
    normalise,
    quantity,
)

DURATIONS = [
    ("20 us", 20_000),
    ("20 µs", 20_000),
    ("0.5 ms", 500_000),
    ("300 ms", 300_000_000),
    ("300ms", 300_000_000),
    ("2 s", 2_000_000_000),
    ("0.1 s", 100_000_000),
    ("31 min", 1_860_000_000_000),
    ("1.5 h", 5_400_000_000_000),
    (" 0 s ", 0),
    ("0.000000001 s", 1),
]


@pytest.mark.parametrize(("text", "ns"), DURATIONS, ids=[text for text, _ in DURATIONS])
def test_duration(text, ns):
    assert duration_ns(text) == ns


NO_DURATIONS = {
    "300 msec": "\"300 msec\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    "300": "\"300\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    "-2 s": "\"-2 s\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    "1,5 s": "\"1,5 s\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    "": "\"\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    "5 V": "\"5 V\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    "0.0001 us": '"0.0001 us" is finer than a nanosecond.',
    "9000 h": '"9000 h" is longer than a year.',
}


@pytest.mark.parametrize(("text", "message"), NO_DURATIONS.items(), ids=list(NO_DURATIONS))
def test_no_duration(text, message):
    with pytest.raises(UnitError) as caught:
        duration_ns(text)
    assert str(caught.value) == message


DURATION_TEXTS = [(300_000_000, "300 ms"), (1_860_000_000_000, "31 min"), (5_400_000_000_000, "1.5 h"), (0, "0 ms")]


@pytest.mark.parametrize(("ns", "text"), [*DURATION_TEXTS, (20_000, "20 us"), (1, "1 ns"), (1_500_000_000, "1.5 s")])
def test_duration_as_text(ns, text):
    assert duration_text(ns) == text


@settings(derandomize=True)
@given(st.integers(0, 366 * 24 * 3600 * 1000))
def test_whole_milliseconds_survive_the_way_to_text_and_back(ms):
    assert duration_ns(duration_text(ms * 1_000_000)) == ms * 1_000_000


QUANTITIES = [
    ("5 km/h", Fraction(5), "km/h"),
    ("5km/h", Fraction(5), "km/h"),
    ("-5.5 deg C", Fraction(-11, 2), "degC"),
    ("30 %", Fraction(30), "%"),
    ("30%", Fraction(30), "%"),
    ("7", Fraction(7), None),
    ("0.1 V", Fraction(1, 10), "V"),
    ("3 furlongs", Fraction(3), "furlongs"),
]


@pytest.mark.parametrize(("text", "value", "unit"), QUANTITIES, ids=[q[0] for q in QUANTITIES])
def test_quantity(text, value, unit):
    assert quantity(text) == (value, unit)


@pytest.mark.parametrize("text", ["fast", "", "km/h 5", "5,5 V", "1.2.3 V", "5 -3", "1" * 16])
def test_no_quantity(text):
    with pytest.raises(UnitError) as caught:
        quantity(text)
    assert str(caught.value) == f"\"{text}\" is no quantity: write a number and its unit, such as '5 km/h'."


CONVERSIONS = [
    (1, "mph", "km/h", 1.609344, "NIST SP 811 B.8: mile per hour to kilometre per hour"),
    (1, "mph", "m/s", 0.44704, "NIST SP 811 B.8: mile per hour to metre per second"),
    (1, "mi", "m", 1609.344, "NIST SP 811 B.8: mile to metre"),
    (1, "psi", "kPa", 6.894757, "NIST SP 811 B.8: psi to kilopascal, rounded there"),
    (1, "bar", "kPa", 100.0, "NIST SP 811 B.8: bar to kilopascal"),
    (212, "degF", "degC", 100.0, "NIST SP 811 B.8: (F - 32) / 1.8"),
    (-40, "degF", "degC", -40.0, "NIST SP 811 B.8: (F - 32) / 1.8"),
    (0, "degC", "K", 273.15, "NIST SP 811 B.8: C + 273.15"),
    (32, "degF", "K", 273.15, "NIST SP 811 B.8: (F + 459.67) / 1.8"),
    (36, "km/h", "m/s", 10.0, "definition"),
    (12600, "mV", "V", 12.6, "definition"),
    (0.5, "A", "mA", 500.0, "definition"),
    (90, "min", "h", 1.5, "definition"),
    (7, "furlongs", "furlongs", 7.0, "a unit always is itself"),
    (7, None, "unitless", 7.0, "no unit is no unit"),
]


@pytest.mark.parametrize(("value", "source", "target", "result", "why"), CONVERSIONS, ids=[c[4] for c in CONVERSIONS])
def test_conversion(value, source, target, result, why):
    assert convert(value, source, target) == (pytest.approx(result, rel=1e-7) if "rounded" in why else result)


def test_five_miles_an_hour_are_exact():
    assert convert(5, "mph", "km/h") == 8.04672


@pytest.mark.parametrize(("source", "target"), [("V", "km/h"), ("km/h", None), (None, "%"), ("furlongs", "m")])
def test_units_of_different_kinds_do_not_convert(source, target):
    assert factor_between(source, target) is None
    with pytest.raises(UnitError) as caught:
        convert(1, source, target)
    assert str(caught.value) == f'"{source or "no unit"}" cannot be turned into "{target or "no unit"}".'


def test_there_and_back_is_exactly_the_same():
    groups = [("m/s", "km/h", "mph"), ("K", "degC", "degF"), ("kPa", "bar", "psi", "hPa"), ("V", "mV"), ("s", "h")]
    for group in groups:
        for source in group:
            for target in group:
                scale, offset = exact_factor(source, target)
                back, back_offset = exact_factor(target, source)
                assert scale * back == 1
                assert offset * back + back_offset == 0


SPELLINGS = [
    *((s, "km/h") for s in ("km/h", "kph", "KPH", "Kph", "km/hour", "km / h", "Km/h", "Unit_KiloMeterPerHour")),
    *((s, "mph") for s in ("mph", "MPH")),
    *((s, "degC") for s in ("degC", "deg C", "°C", "degree C", "Degrees C", "C", "Unit_DegreCelsi")),
    *((s, "rpm") for s in ("rpm", "RPM", "1/min", "U/min", "Unit_MinutInver")),
    *((s, "V") for s in ("V", "Volt", "volts", "Unit_Volt")),
    *((s, None) for s in ("", " ", "-", "none", "None", "unitless", "Unitless", "Unit_None", None)),
    *((s, "%") for s in ("%", "percent", "Unit_PerCent")),
    ("mV", "mV"),
    ("ms", "ms"),
    ("m/s", "m/s"),
    ("Minutes", "min"),
    ("sec", "s"),
    ("dBsm", "dBsm"),
    ("km/h or MPH", "km/h or MPH"),
    ("MV", "MV"),
]


@pytest.mark.parametrize(("spelling", "unit"), SPELLINGS, ids=[f"{s!r}" for s, _ in SPELLINGS])
def test_one_spelling_of_each_unit(spelling, unit):
    assert normalise(spelling) == unit
    assert normalise(normalise(spelling)) == unit
