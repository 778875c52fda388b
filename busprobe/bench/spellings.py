"""How signal databases spell units: as found in public DBC files, lower case and without blanks."""

from __future__ import annotations

_BY_UNIT: dict[str | None, str] = {
    None: "- none unitless 1 n/a",
    "km/h": "km/h kph kmh kmph km/hour km/hr kilometerperhour kilometersperhour",
    "mph": "mph mile/h miles/h mi/h mileperhour milesperhour",
    "m/s": "m/s m/sec meterpersecond meterpersecon",
    "V": "v volt volts",
    "mV": "millivolt millivolts",
    "kV": "kilovolt",
    "A": "amp amps ampere amperes amper",
    "mA": "milliamp milliampere milliamper",
    "W": "watt watts",
    "kW": "kw kilowatt kilowatts",
    "Ohm": "ohm ohms ω",
    "kOhm": "kohm kilohm",
    "Hz": "hz hertz",
    "kHz": "khz kilohertz",
    "rpm": "rpm 1/min u/min r/min rev/min revs/min min-1 min^-1 minutinver",
    "%": "percent pct per-cent",
    "Nm": "newtometer newtonmeter n*m n.m n·m",
    "deg": "degree degrees ° degreofarc",
    "K": "kelvin",
    "degC": "degc deg.c °c ºc ℃ c degreec degreesc celsius degreecelsius degreescelsius degrecelsi",
    "degF": "degf deg.f °f ºf ℉ f degreef degreesf fahrenheit degreefahrenheit degreesfahrenheit",
    "m": "meter meters metre metres",
    "km": "km kilometer kilometers kilometre",
    "cm": "centimeter centimeters centimetre",
    "mm": "millimeter millimeters millimetre",
    "mi": "mile miles",
    "s": "sec secs second seconds secon",
    "ms": "msec millisecond milliseconds millisecon",
    "us": "µs μs usec microsecond microseconds",
    "min": "min minute minutes minut",
    "h": "hr hrs hour hours",
    "Pa": "pa pascal",
    "hPa": "hpa hectopascal",
    "mbar": "mbar millibar",
    "kPa": "kpa kilopascal",
    "bar": "bar",
    "psi": "psi lbf/in2 lb/in2",
    "L": "l liter liters litre litres",
    "mL": "ml milliliter millilitre",
}

SPELLINGS: dict[str, str | None] = {
    spelling.casefold(): unit for unit, spellings in _BY_UNIT.items() for spelling in spellings.split()
}
"""Spelling in lower case without blanks -> the unit's name here."""
