"""The usual cautions, shown before any live work."""

from __future__ import annotations

import textwrap

CAUTIONS = (
    (
        "Parking brake, chocks and foot brake for gear tests; driven wheels never in gear on the floor; extract the "
        "exhaust."
    ),
    (
        "Siren outputs carry dangerous floating voltage: never to an input or ground. Use the enable wire or an "
        "isolated detector; speakers unplugged or a dummy load, hearing protection, clear area. Lamps can dazzle."
    ),
    "Mains of shore power and inverter only through an isolating relay fitted by a licensed electrician.",
    "Electric and hybrid vehicles are silent but live: READY off; orange cables and airbag wiring are off limits.",
    "A fuse of 1 A or less at every tap. Nobody operates this tool while driving.",
    (
        "Road law and equipment standards differ by place: the local code and licensed practice decide. A pass here is "
        "evidence of behaviour and no certificate."
    ),
)
"""One sentence or a few on each danger."""


def caution_lines(width: int = 80) -> list[str]:
    """The cautions as a list for the terminal."""
    lines = ["Before you start:"]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, width, initial_indent="  - ", subsequent_indent="    ")
    return lines
