"""What a report on a vehicle is made from."""

from __future__ import annotations

from dataclasses import dataclass

from busprobe.analysis.vehicle import VehicleRead
from busprobe.analysis.vehicle_changes import Comparison
from busprobe.errors import Problems
from busprobe.health import OtherTester

EMISSION_ONLY = (
    "These services show emission-related trouble codes only. Codes of brakes, airbags, body and other "
    "units, and the makers' own, are not among them: no codes here does not mean that the vehicle has none."
)
NOTHING_CLEARED = "Nothing was cleared or written; busprobe cannot do that."


@dataclass(frozen=True)
class Shortfall:
    """Something that was asked for and did not come, or was not asked for."""

    asked: str
    """The request in hex: "09 02"."""
    unit: str
    """Identifier of the unit in hex; empty: of all."""
    what: str
    """A few words for the user."""


@dataclass(frozen=True)
class VehicleReport:
    """A vehicle as read, and against an earlier reading."""

    vehicle: str
    """Its name in the bench file; empty without one."""
    source: str
    """"live", or the name of a recording."""
    read: VehicleRead
    requests: int = 0
    """Requests sent."""
    shortfalls: tuple[Shortfall, ...] = ()
    tester: OtherTester | None = None
    """Another tester that was seen asking."""
    notes: tuple[str, ...] = ()
    comparison: Comparison | None = None
    against: str = ""
    """Name of the file with the earlier reading."""
    problems: Problems | None = None
    """Of reading a recording."""

    @property
    def exit_status(self) -> int:
        return self.comparison.exit_status if self.comparison is not None else 0
