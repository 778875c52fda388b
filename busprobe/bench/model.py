"""What a bench file says, read and checked as far as that goes without the databases."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any


@dataclass(frozen=True)
class Origin:
    """Where in the bench file something stands."""

    path: Path | None = None
    line: int | None = None
    column: int | None = None
    """Column of the first character inside the quotes, from 1."""


@dataclass(frozen=True)
class Bus:
    name: str
    interface: str | None = None
    channel: str | None = None
    bitrate: int | None = None
    data_bitrate: int | None = None
    listen_only: bool = True
    databases: tuple[Path, ...] = ()
    """Absolute paths; the file names them relative to itself."""
    recorded_as: tuple[str, ...] = ()
    """Channel names that this bus has in recordings."""
    uncertainty_ns: int = 0
    options: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    """Everything else of the table, passed on to python-can."""
    origin: Origin = Origin()


@dataclass(frozen=True)
class Line:
    """One input line: a wire on an input box."""

    name: str
    number: int
    active_low: bool = False
    debounce_ns: int = 0
    analogue: bool = False
    """Measured in millivolts. With `above_mv` it is a condition, else a quantity in V."""
    above_mv: int | None = None
    below_again_mv: int | None = None
    wiring: str = ""
    origin: Origin = Origin()


@dataclass(frozen=True)
class InputBox:
    name: str
    driver: str
    port: str | None = None
    period_ns: int = 10_000_000
    lines: tuple[Line, ...] = ()
    options: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    origin: Origin = Origin()


@dataclass(frozen=True)
class Obd:
    bus: str
    poll: tuple[int, ...] = ()
    every_ns: int | None = None
    origin: Origin = Origin()


@dataclass(frozen=True)
class Tap:
    """One entry of `from`: "body.TransmissionStatus.SelectedGear", "obd.0D", "box.rear_door_pin"."""

    kind: str
    """"message", "obd" or "line"."""
    owner: str
    """Bus, "obd" or input box."""
    message: str
    """Message name, PID as two upper-case hex digits, or line name."""
    signal: str
    """Signal of the message, part of the PID (may be empty), or empty."""

    @property
    def text(self) -> str:
        return ".".join(p for p in (self.owner, self.message, self.signal) if p)


@dataclass(frozen=True)
class Signal:
    """A signal taken from one or more places; the first one known is used."""

    name: str
    taps: tuple[Tap, ...]
    role: str | None = None
    unit: str | None = None
    values: Mapping[str, str] | None = None
    """Database label -> name used here."""
    unknown_raw: tuple[int, ...] = ()
    """Raw values that mean "not available"."""
    max_age_ns: int | None = None
    origin: Origin = Origin()


@dataclass(frozen=True)
class Text:
    """An expression as written, and where."""

    text: str
    origin: Origin = Origin()


@dataclass(frozen=True)
class Derived:
    """A signal made from others: a condition, with hysteresis where `above` is given."""

    name: str
    when: Text
    above: Text | None = None
    below_again: Text | None = None
    role: str | None = None
    origin: Origin = Origin()


@dataclass(frozen=True)
class Expect:
    """`when` ... `expect` ... `within`."""

    name: str
    when: Text
    expect: Text
    within_ns: int
    not_before_ns: int = 0
    hold_ns: int | None = None
    hold_while_when: bool = False
    settle_ns: int = 0
    already_counts: bool = False
    min_full: int = 1
    origin: Origin = Origin()


@dataclass(frozen=True)
class Follows:
    """Two-way: `follows` on within `on_within_ns` of `when`, off within `off_within_ns`."""

    name: str
    when: Text
    follows: Text
    on_within_ns: int
    off_within_ns: int
    hold_while_when: bool = False
    settle_ns: int = 0
    already_counts: bool = False
    min_full: int = 1
    origin: Origin = Origin()


@dataclass(frozen=True)
class Invariant:
    """`never` or `always`."""

    name: str
    kind: str
    """"never" or "always"."""
    condition: Text
    given: Text | None = None
    settle_ns: int = 0
    min_full: int = 1
    origin: Origin = Origin()


Check = Expect | Follows | Invariant


@dataclass(frozen=True)
class Trigger:
    name: str
    on: Text
    keep_before_ns: int = 0
    keep_after_ns: int = 0
    origin: Origin = Origin()
    is_marker: bool = False
    """It is the user's button: what it logs are markers."""


@dataclass(frozen=True)
class Bench:
    path: Path | None
    text: str
    """The bench file as read, for the recording."""
    vehicle: str
    buses: tuple[Bus, ...] = ()
    boxes: tuple[InputBox, ...] = ()
    obd: Obd | None = None
    signals: tuple[Signal, ...] = ()
    derived: tuple[Derived, ...] = ()
    checks: tuple[Check, ...] = ()
    triggers: tuple[Trigger, ...] = ()


NO_BENCH = Bench(None, "", "")
"""Where there is no bench file: each channel of a recording is a bus of its own."""


@dataclass(frozen=True)
class SignalType:
    """What an expression needs to know of a signal to be bound."""

    unit: str | None = None
    """Unit in which its value is given, normalised ("km/h"); None: a bare number."""
    labels: Mapping[str, tuple[float, ...]] = field(default_factory=lambda: MappingProxyType({}))
    """Label -> the values that it stands for; empty: not enumerated."""
    is_condition: bool = False
    """An input line or a derived signal: on or off, nothing else."""
    two_bit: bool = False
    """A 2-bit unsigned raw value with no names for 2 and 3."""
