"""Faults that can be set while the van drives, each with a name of plain words.

late rear white              stuck on siren               stuck off beacon left
lost TransmissionStatus      chatter rear door            low battery
bus silent                   tester unplugged
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from itertools import product

from busprobe.errors import BenchError, nearest
from busprobe.van.box import FROM_WORLD, WIRES
from busprobe.van.catalogue import MESSAGES
from busprobe.van.script import END_NS


class Kind(Enum):
    LATE = "late"
    """Every change of an output of the controller takes a second longer."""
    STUCK_ON = "stuck on"
    STUCK_OFF = "stuck off"
    """An output stays as it is, whatever the controller wants."""
    LOST = "lost"
    """A message is not heard."""
    CHATTER = "chatter"
    """A contact opens and shuts without rest."""
    LOW_BATTERY = "low battery"
    BUS_SILENT = "bus silent"
    """Nothing is heard, and no request is answered."""
    UNPLUGGED = "tester unplugged"
    """The other tester, the fitted interface, asks for nothing any more: no OBD value comes, all else goes on."""


@dataclass(frozen=True)
class LiveFault:
    kind: Kind
    target: str = ""
    """Output, message or wire; empty where the kind says all."""

    @property
    def name(self) -> str:
        return f"{self.kind.value} {self.target.replace('_', ' ')}".rstrip()


LASTING_OUTPUTS = ("rear_white", "strip", "siren", "door_alert", "rear_warning", "aux_feed")
"""Outputs that do not flash: a delay longer than a flash would only swallow it."""
OUTPUTS = ("beacon_left", "beacon_right", "front_white", *LASTING_OUTPUTS)


def _targets() -> Iterable[tuple[Kind, Iterable[str]]]:
    yield Kind.LATE, LASTING_OUTPUTS
    yield Kind.STUCK_ON, OUTPUTS
    yield Kind.STUCK_OFF, OUTPUTS
    yield Kind.LOST, [message.name for message in MESSAGES]
    yield Kind.CHATTER, [FROM_WORLD[wire.name] for wire in WIRES if wire.bounce_ns[1]]
    for kind in (Kind.LOW_BATTERY, Kind.BUS_SILENT, Kind.UNPLUGGED):
        yield kind, [""]


LIVE_FAULTS: Mapping[str, LiveFault] = {
    fault.name: fault for kind, targets in _targets() for fault in (LiveFault(kind, target) for target in targets)
}
"""Every fault by its name."""

KEYS: Mapping[str, LiveFault] = {
    "l": LIVE_FAULTS["late rear white"],
    "s": LIVE_FAULTS["stuck on siren"],
    "d": LIVE_FAULTS["stuck off rear white"],
    "t": LIVE_FAULTS["lost TransmissionStatus"],
    "c": LIVE_FAULTS["chatter rear door"],
    "b": LIVE_FAULTS["low battery"],
    "n": LIVE_FAULTS["bus silent"],
    "i": LIVE_FAULTS["tester unplugged"],
}
"""Key that sets a fault and takes it back."""

_BY_WORDS = {name.casefold(): fault for name, fault in LIVE_FAULTS.items()}


def live_fault(name: str) -> LiveFault:
    """The fault of a name; case and underscores do not matter. Raises BenchError where there is none."""
    fault = _BY_WORDS.get(" ".join(name.replace("_", " ").casefold().split()))
    if fault is None:
        raise BenchError(f'Unknown fault "{name}".{nearest(name, LIVE_FAULTS)}', hint=FAULTS_HINT)
    return fault


FAULTS_HINT = (
    'Faults: "late OUTPUT", "stuck on OUTPUT", "stuck off OUTPUT", "lost MESSAGE", "chatter CONTACT", '
    '"low battery", "bus silent", "tester unplugged" (only the other tester\'s OBD requests end).'
)


FOR_EVER_NS = 1 << 62


@dataclass(frozen=True)
class Spell:
    """A fault, from when to when it is set, ns."""

    fault: LiveFault
    from_ns: int
    to_ns: int

    def overlaps(self, other: Spell) -> bool:
        return self.from_ns < other.to_ns and other.from_ns < self.to_ns

    def within_cycle(self, cycle_begin_ns: int) -> Spell | None:
        """The part of it in the drive cycle that begins at `cycle_begin_ns`, counted from there."""
        begin, end = max(self.from_ns - cycle_begin_ns, 0), min(self.to_ns - cycle_begin_ns, END_NS)
        return replace(self, from_ns=begin, to_ns=end) if begin < end else None


def refuse_contradictions(spells: Sequence[Spell]) -> None:
    """Raise BenchError where one output would be stuck on and stuck off at a time."""
    on = [spell for spell in spells if spell.fault.kind is Kind.STUCK_ON]
    off = [spell for spell in spells if spell.fault.kind is Kind.STUCK_OFF]
    for one, other in product(on, off):
        if one.fault.target == other.fault.target and one.overlaps(other):
            raise BenchError(
                f'"{one.fault.name}" and "{other.fault.name}" contradict each other: they are set at the same time.',
                hint="Leave one of them out, or give them times that do not overlap, in a script.",
            )
