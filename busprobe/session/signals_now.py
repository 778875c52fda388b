"""What signals say at the instant of a picture, made when they are looked at: most screens show few, or none.

They say what is known of that instant then. Logic may still be deciding on the last moments before it
(a debounce, a bus that fell silent): a later look tells more of them, never less.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property
from typing import overload

from busprobe.engine.history import NO_BOUNCE, Bounce
from busprobe.session.strips import Strip


class Kind(Enum):
    """What a signal of the bench file is."""

    BUS = "bus"
    """From a message, or from OBD answers."""
    LINE = "line"
    """From an input line that is no controller output."""
    OUTPUT = "output"
    """From an input line that some check expects something of: sensed at the controller."""
    DERIVED = "derived"


@dataclass(frozen=True)
class SignalNow:
    """One signal at the instant shown."""

    name: str
    role: str | None
    kind: Kind
    source: str
    """The tap that gives it now: "body.BrakeStatus.PedalSwitch", "box.rear_door_pin", an expression."""
    code: int
    """FALSE, TRUE, UNKNOWN, ASLEEP of `timeline`; a known quantity or label is TRUE."""
    is_condition: bool
    """On or off; else a quantity or label."""
    value: float | None
    text: str
    """As a person reads it: "R", "12.4 km/h", "on", "unknown (lost)"."""
    unit: str | None
    since_ns: int | None
    """When it got this value; None: before anything was seen."""
    age_ns: int | None
    """Time since its newest sample; None for derived ones and before the first."""
    max_age_ns: int | None
    """How old a sample may get; None: as long as its bus is awake, or its box up."""
    edges: int
    """Changes of value so far (known to known)."""
    make_strip: Callable[[], Strip] | None = field(default=None, compare=False, repr=False)
    """Makes `strip`: only rows in view need one."""
    labels: tuple[str, ...] = ()
    """All texts that it can have, where they are named."""
    bounce: Bounce = NO_BOUNCE
    """What the debounce of its input line has taken out so far."""
    instead: str = ""
    """Of several sources: those that would count before this one, and why they do not: "body.A.B (lost)"."""
    poll_ns: int | None = None
    """Time between polls of the input lines that it comes from, the longest: achieved; before that is measured, as
    the bench file asks for. None: it comes from no line."""
    why: str = ""
    """Where it is unknown or asleep, why: "lost", "too old", "asleep", "box down"."""
    until_ns: int | None = None
    """In a replay, where it is unknown or asleep: when it will be known again; None: that is not known."""

    @cached_property
    def strip(self) -> Strip | None:
        """Its recent past; made when it is first looked at."""
        return None if self.make_strip is None else self.make_strip()


Make = Callable[[str], SignalNow]
"""Makes a signal by its name."""


class SignalsNow(Sequence[SignalNow]):
    """Each is made once, by the thread that shows the picture.

    roles: of all signals, by name and in their order. begin: called once, before the first is made.
    """

    def __init__(self, roles: Mapping[str, str | None], begin: Callable[[], Make]) -> None:
        self._roles = roles
        self._names = tuple(roles)
        self._begin = begin
        self._made: dict[str, SignalNow] = {}

    @cached_property
    def _make(self) -> Make:
        return self._begin()

    def _named(self, name: str) -> SignalNow:
        signal = self._made.get(name)
        if signal is None:
            signal = self._made[name] = self._make(name)
        return signal

    def named(self, name: str) -> SignalNow | None:
        return self._named(name) if name in self._roles else None

    def of_role(self, role: str) -> list[SignalNow]:
        return [self._named(name) for name, its_role in self._roles.items() if its_role == role]

    def changed(self, change: Callable[[SignalNow], SignalNow]) -> SignalsNow:
        """The same with something changed in each, when it is made."""
        return SignalsNow(self._roles, lambda: lambda name: change(self._named(name)))

    def __len__(self) -> int:
        return len(self._names)

    @overload
    def __getitem__(self, place: int) -> SignalNow: ...
    @overload
    def __getitem__(self, place: slice) -> list[SignalNow]: ...
    def __getitem__(self, place: int | slice) -> SignalNow | list[SignalNow]:
        if isinstance(place, slice):
            return [self._named(name) for name in self._names[place]]
        return self._named(self._names[place])
