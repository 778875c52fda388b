"""All that a survey tells, ready to be reported."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from busprobe.analysis.obd_seen import ObdSummary
from busprobe.analysis.presence import TapSeen
from busprobe.analysis.roles import RoleSeen
from busprobe.analysis.survey_result import BitRate, SurveyResult
from busprobe.errors import Problem, Problems
from busprobe.results import Marker, WalkResult


@dataclass(frozen=True)
class SurveyReport:
    """A recording in figures, the OBD traffic in it, and the signals of a bench file."""

    recording: str
    """Name of the file."""
    result: SurveyResult
    obd: ObdSummary = field(default_factory=ObdSummary)
    signals: tuple[TapSeen, ...] = ()
    """One entry for each place that a signal of the bench file comes from; empty without one."""
    roles: tuple[RoleSeen, ...] = ()
    """How each role of the bench file can be had here."""
    vehicle: str = ""
    bit_rates: Mapping[str, BitRate] = field(default_factory=lambda: MappingProxyType({}))
    """Those known, by channel."""
    faults: tuple[Problem, ...] = ()
    """What is wrong in the databases; the rest of them is used."""
    problems: Problems = field(default_factory=Problems)
    notes: tuple[str, ...] = ()
    walk: tuple[WalkResult, ...] = ()
    """What the guided walk found, as recorded, in the order found."""
    markers: tuple[Marker, ...] = ()
    """Notes set in the recording, in order of time."""
