"""What to know before a wire of a 12 V vehicle goes to an input box.

Voltages: 12.6 V at rest and 14.4 V charging are common practice; up to 16 V, and 24 V at a jump
start, are ISO 16750-2 (from memory); 87 V is a load dump that nothing suppresses (ISO 7637-2:2004,
pulse 5a, level IV, as data sheets of vehicle switches quote it).
"""

from __future__ import annotations

VEHICLE_V = (12.0, 16.0, 24.0)
"""Nominal, greatest in use, at a jump start."""
LED_V = 1.2
"""Voltage across the lit LED of an opto-coupler (common practice, no source)."""


def divided_v(volts: float, upper_kohm: float, lower_kohm: float) -> float:
    """Voltage at the tap of a divider from `volts` to ground."""
    return volts * lower_kohm / (upper_kohm + lower_kohm)


def led_ma(volts: float, series_kohm: float) -> float:
    """Current through the LED of an opto-coupler."""
    return (volts - LED_V) / series_kohm


def _divider(upper_kohm: float, lower_kohm: float) -> str:
    at = ", ".join(f"{divided_v(volts, upper_kohm, lower_kohm):.2g} V at {volts:g} V" for volts in VEHICLE_V)
    return f"{upper_kohm:g} kΩ over {lower_kohm:g} kΩ gives {at}"


def _opto(series_kohm: float) -> str:
    at = ", ".join(f"{led_ma(volts, series_kohm):.2g} mA at {volts:g} V" for volts in VEHICLE_V)
    return f"{series_kohm:g} kΩ (0.5 W) in series with the LED gives {at}"


WIRE_NOTE = (
    "* Where the wire goes to the input directly or through a divider. Where something inverts in between "
    "(an opto-coupler with a pull-up; inputs with their common at battery) the wire reads the opposite: "
    '"box input low when on" then goes with 12 V on the wire when on. Low is 0 as the box reports it, high is 1.'
)
"""Below a table of on/off lines."""

GENERAL = (
    "Fuse of 1 A or less in each wire, right at the tap.",
    (
        "Common ground: the ground of the box goes to vehicle ground first and comes off last. Run the computer "
        "from its battery, or isolate the port: its charger is a second way to ground."
    ),
    (
        "12 V means 12.6 V at rest, 14.4 V charging, up to 16 V, 24 V at a jump start, and peaks up to 87 V where "
        "a load dump is not suppressed: every input needs a series resistor, an opto-coupler or a clamp that "
        "stands this."
    ),
    (
        "A switch wire that the vehicle reads as well must not be loaded, or the vehicle sees its switch closed: "
        "a divider of 30 kΩ or more, or, where it is switched to ground, an LED from fused battery to the wire."
    ),
    (
        "Measure each wire with a meter, on and off, before it goes to the box; expect what the table says, or its "
        "opposite where something inverts (*). Do not connect a wire that reads neither."
    ),
    "Back-probe or use the maker's connection points; never pierce insulation, never touch airbag or orange wiring.",
)
"""For every box."""

BY_DRIVER = {
    "modbus": (
        (
            "Take a box with opto-isolated inputs for 24 V (10 to 30 V, as its manual says): a wire that switches "
            "battery goes to an input, the common of the inputs to ground."
        ),
        (
            "For wires switched to ground the common goes to battery, fused; such a box then says 1 while the wire "
            'is at ground: leave active = "low" out for them. The meter on such a wire then shows the opposite of '
            "the table: below 1 V when on. Do not mix both kinds on one common."
        ),
        "Analogue inputs: a range up to 30 V, or a divider in front; scale (mV a count) has to count the divider in.",
        "Terminate the RS-485 pair with 120 Ω at both ends when it is longer than a few metres.",
    ),
    "modem-lines": (
        (
            "An adapter with RS-232 levels stands 25 V either way (TIA-232-F): 1 kΩ in series, battery switched in. "
            f"Its input of 3 to 7 kΩ then gets {divided_v(12, 1, 3):g} to {divided_v(12, 1, 7):g} V at 12 V; over "
            "3 V is high."
        ),
        "A contact to ground needs 2.2 kΩ from fused battery to the input; open it is high.",
        (
            'An adapter with 3.3 or 5 V pins (levels = "ttl") takes no vehicle voltage: an opto-coupler each. '
            f"{_opto(2.2)}."
        ),
        "There is no isolation in such an adapter: a USB isolator keeps vehicle and computer apart.",
    ),
    "text-lines": (
        (
            f"Pins of a board stand 5 V or 3.3 V, no more. Best is an opto-coupler each. {_opto(2.2)}. With a "
            "pull-up on its output the pin is low while the LED is lit: "
            'active = "low" for a wire that switches battery. The meter on that wire then shows the opposite of '
            "the table: 12 V when on."
        ),
        (
            f"Or a divider with a clamp diode to the supply of the board: {_divider(22, 10)} for 5 V pins; "
            f"{_divider(33, 10)} for 3.3 V pins."
        ),
        "Analogue pins: the same dividers; the program of the board multiplies by 3.2 or 4.3 to print millivolts.",
        "A contact of your own to ground, wired to nothing else: 10 kΩ to the supply of the board, 10 kΩ to the pin.",
    ),
}
"""By driver of the bench file."""
