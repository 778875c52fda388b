"""What a database says of messages and their signals, in the form that decoding needs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import MappingProxyType

import numpy as np

from busprobe.decode.bits import WORD, Cut, Field
from busprobe.errors import Problem
from busprobe.frames import FloatArray, UInt8Array

Ranges = tuple[tuple[int, int], ...]
"""Raw values as (lowest, highest) pairs, both included, rising."""


@dataclass(frozen=True)
class SignalLayout:
    """One signal of a message: where its bits lie and what they mean."""

    name: str
    start: int
    """DBC bit number: of the lowest bit, or of the highest where `big_endian`."""
    length: int
    """Bits, 1 to 64."""
    big_endian: bool
    signed: bool
    is_float: bool
    """IEEE 754 number of 16, 32 or 64 bits."""
    scale: float = 1.0
    """value = raw * scale + offset"""
    offset: float = 0.0
    unit: str | None = None
    choices: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}), hash=False)
    """Raw value -> label."""
    multiplexer: tuple[tuple[str, Ranges], ...] = ()
    """Every multiplexer above this signal, outermost first, and its raw values with which this signal is present."""
    is_multiplexer: bool = False
    minimum: float | None = None
    maximum: float | None = None
    not_available: tuple[int, ...] = ()
    """Raw values that the database names as not available or as an error."""
    not_available_from: int | None = None
    """J1939: this raw value and all above say "error" or "not available"."""

    @property
    def bits(self) -> Field:
        return Field(self.start, self.length, self.big_endian, self.signed and not self.is_float)

    @property
    def is_wide(self) -> bool:
        """Whether raw values need all 64 bits of an unsigned integer."""
        return self.length == WORD and not self.signed and not self.is_float

    def label(self, raw: int) -> str | None:
        """The database's name of a raw value."""
        return self.choices.get(raw)


@dataclass(frozen=True)
class MessageLayout:
    """One message: the frames it is sent in, and its signals in the order of the file."""

    name: str
    identifier: int
    """11-bit or 29-bit identifier, without flag bits."""
    is_extended: bool
    length: int
    """Payload bytes that the database says."""
    is_fd: bool = False
    cycle_time_ns: int | None = None
    """None where the database says none, or says that the message is sent on change."""
    is_j1939: bool = False
    signals: tuple[SignalLayout, ...] = ()
    comment: str | None = None
    left_out: tuple[str, ...] = ()
    """Names of signals that the file has but that faults in it keep from use."""
    _plans: dict[frozenset[str] | None, Plan] = field(default_factory=dict, init=False, repr=False, compare=False)

    @cached_property
    def by_name(self) -> Mapping[str, SignalLayout]:
        return {s.name: s for s in self.signals}

    def signal(self, name: str) -> SignalLayout | None:
        return self.by_name.get(name)

    def plan(self, names: Collection[str] | None = None) -> Plan:
        """How to decode the signals named (None: all); made once for each choice of names."""
        key = None if names is None else frozenset(names)
        if key not in self._plans:
            self._plans[key] = Plan.of(self, key)
        return self._plans[key]


@dataclass(frozen=True)
class Plan:
    """All that decoding some signals of one message needs, worked out beforehand."""

    signals: tuple[SignalLayout, ...]
    """Those wanted, in the order of the file; then the multiplexers that they also need."""
    wanted: int
    """How many of `signals` are wanted."""
    cut: Cut
    scale: FloatArray | None
    """(k, 1) by row of the cut; None where all are 1."""
    offset: FloatArray | None
    byte_count: UInt8Array
    """(k,) bytes that hold each signal, in the order of `signals`."""
    most_bytes: int
    special: tuple[int, ...]
    """Indexes of signals whose raw values are not int64."""
    multiplexed: tuple[int, ...]
    """Indexes of wanted signals that are present only now and then."""

    @staticmethod
    def of(message: MessageLayout, names: frozenset[str] | None) -> Plan:
        wanted = [s for s in message.signals if names is None or s.name in names]
        have = {s.name for s in wanted}
        above = {name for s in wanted for name, _ in s.multiplexer} - have
        signals = (*wanted, *(s for s in message.signals if s.name in above))
        cut = Cut.of([s.bits for s in signals])
        by_row = sorted(range(len(signals)), key=cut.row.__getitem__)
        scale = np.array([[signals[i].scale] for i in by_row], np.float64)
        offset = np.array([[signals[i].offset] for i in by_row], np.float64)
        counts = [s.bits.byte_count for s in signals]
        return Plan(
            signals,
            len(wanted),
            cut,
            None if (scale == 1).all() else scale,
            None if (offset == 0).all() else offset,
            np.array(counts, np.uint8),
            max(counts, default=0),
            tuple(i for i, s in enumerate(signals) if s.is_float or s.is_wide),
            tuple(i for i, s in enumerate(wanted) if s.multiplexer),
        )


@dataclass(frozen=True)
class Database:
    """The messages of one database file that can be used, and what is wrong with the rest."""

    path: Path
    messages: tuple[MessageLayout, ...]
    """In the order of the file; names and identifiers each occur once."""
    faulty: tuple[Problem, ...] = ()

    @cached_property
    def _by_name(self) -> Mapping[str, MessageLayout]:
        return {m.name: m for m in self.messages}

    @cached_property
    def _by_identifier(self) -> Mapping[tuple[int, bool], MessageLayout]:
        return {(m.identifier, m.is_extended): m for m in self.messages}

    def message(self, name: str) -> MessageLayout | None:
        return self._by_name.get(name)

    def find(self, identifier: int, is_extended: bool) -> MessageLayout | None:
        """The message sent with this identifier."""
        return self._by_identifier.get((identifier, is_extended))
