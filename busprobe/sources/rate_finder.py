"""Finds the bit rate of an unknown bus by listening at one rate after another; it never sends.

    500 kbit/s     0 good, 212 error frames    wrong
    250 kbit/s    20 good,   0 error frames    right

An adapter that does not report error frames says nothing at a wrong rate; a bus that sleeps says
nothing at any. So silence is called silence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Protocol

import numpy as np

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import ERROR, FrameBatch
from busprobe.health import Health
from busprobe.sources.bus import BusSource
from busprobe.sources.bus_trouble import no_rate
from busprobe.sources.clock import Clock
from busprobe.sources.driver_arguments import interface_of
from busprobe.sources.drivers import driver_of
from busprobe.sources.error_frames import BusState
from busprobe.sources.listening import Way, listening_of

RATES = (500_000, 250_000, 125_000, 1_000_000, 100_000, 83_333, 50_000, 33_333, 95_238, 62_500, 800_000)
"""In the order in which they are met (common practice, no source)."""
LISTEN_NS = 1_500_000_000
"""Most messages come ten times a second or more; at each rate it is listened for this long."""
SETTLE_NS = 250_000_000
"""What comes this soon after a change of rate was heard at the rate before: adapters and ports hold frames back."""
ENOUGH = 20
"""Good frames after which a rate is settled, error frames after which it is not the one."""
FEW = 0.1
"""Error frames for each good frame that a right rate may have."""


class Verdict(StrEnum):
    """What was heard at one bit rate."""

    RIGHT = "right"
    WRONG = "wrong"
    SILENT = "silent"
    NOT_POSSIBLE = "the adapter does not know it"


@dataclass(frozen=True)
class Heard:
    """One bit rate, listened to."""

    rate: int
    good: int = 0
    errors: int = 0
    is_possible: bool = True

    @property
    def verdict(self) -> Verdict:
        if not self.is_possible:
            return Verdict.NOT_POSSIBLE
        if self.good and self.errors <= FEW * self.good:
            return Verdict.RIGHT
        return Verdict.WRONG if self.good or self.errors else Verdict.SILENT


@dataclass(frozen=True)
class RateSearch:
    """What a search came to."""

    rate: int | None
    """The bit rate of the bus; None: not found."""
    heard: tuple[Heard, ...]

    @property
    def is_silent(self) -> bool:
        """Nothing was heard at any rate: this tells nothing of the rate."""
        return all(heard.verdict in (Verdict.SILENT, Verdict.NOT_POSSIBLE) for heard in self.heard)


class Tunable(Protocol):
    """What is listened with; a `BusSource`."""

    def tune(self, bitrate: int, clock: Clock) -> None: ...
    def read(self) -> FrameBatch: ...
    def health(self) -> Health: ...
    def close(self) -> None: ...


def refuse_search(bus: Bus, *, may_acknowledge: bool) -> None:
    """Raise DeviceError where there is no bit rate to find, or listening cannot be guaranteed."""
    interface = interface_of(bus)
    listening = listening_of(interface)
    if listening.way is Way.NO_WIRE:
        raise no_rate(interface)
    if not driver_of(interface).has_rate and interface != "socketcan":
        raise DeviceError(
            f'"{interface}" takes no bit rate from here.', hint="Set it where the adapter is, one after another."
        )
    if listening.way is Way.NOT_POSSIBLE and not may_acknowledge:
        raise DeviceError(
            f'"{interface}" cannot be kept from acknowledging: at a wrong bit rate it destroys the frames of others.',
            hint=f"Use an adapter that can listen only. {listening.note} ".replace("  ", " ")
            + "Or add --may-acknowledge where that harms nobody: the vehicle stands, its engine is off.",
        )


def find_rate(
    bus: Bus, *, may_acknowledge: bool = False, on_heard: Callable[[Heard], None] | None = None
) -> RateSearch:
    """Search with the adapter of `bus`; `on_heard` is told of each rate as soon as it is known.

    Raises DeviceError where it may not be searched, or the adapter is not there.
    """
    refuse_search(bus, may_acknowledge=may_acknowledge)
    source = BusSource(replace(bus, listen_only=listening_of(bus.interface or "").way is not Way.NOT_POSSIBLE))
    try:
        return search(source, Clock(), on_heard=on_heard)
    finally:
        source.close()


def search(
    source: Tunable,
    clock: Clock,
    rates: tuple[int, ...] = RATES,
    listen_ns: int = LISTEN_NS,
    on_heard: Callable[[Heard], None] | None = None,
    settle_ns: int = SETTLE_NS,
) -> RateSearch:
    """Listen at each rate until one is right."""
    heard: list[Heard] = []
    for rate in rates:
        heard.append(_listen(source, clock, rate, listen_ns, settle_ns))
        if on_heard is not None:
            on_heard(heard[-1])
        if heard[-1].verdict is Verdict.RIGHT:
            return RateSearch(_confirmed(source, clock, heard, listen_ns, settle_ns), tuple(heard))
    return RateSearch(None, tuple(heard))


def _confirmed(source: Tunable, clock: Clock, heard: list[Heard], listen_ns: int, settle_ns: int) -> int:
    """The right rate: some adapters refuse a rate without a word, and stay at the one before."""
    found = heard[-1].rate
    before = [h.rate for h in heard[:-1] if h.verdict is Verdict.SILENT]
    if not before:
        return found
    again = _listen(source, clock, before[-1], listen_ns, settle_ns)
    return again.rate if again.verdict is Verdict.RIGHT else found


def _listen(source: Tunable, clock: Clock, rate: int, listen_ns: int, settle_ns: int) -> Heard:
    try:
        source.tune(rate, clock)
    except DeviceError as error:
        if isinstance(_root(error), (ValueError, LookupError)):
            return Heard(rate, is_possible=False)
        raise
    good = errors = 0
    try:
        _settle(source, clock, settle_ns)
        end_ns, is_over = clock.now_ns() + listen_ns, False
        while not is_over and errors < ENOUGH + good:
            is_over = clock.now_ns() >= end_ns  # what came while the last one was held up, one more reads
            batch = source.read()
            bad = int(np.count_nonzero(batch.flags & ERROR))
            good, errors = good + len(batch) - bad, errors + bad
            if good >= ENOUGH and errors <= FEW * good:
                break
    except DeviceError:
        if source.health().state != BusState.OFF:
            raise
        errors = max(errors, 1)
    return Heard(rate, good, errors)


def _settle(source: Tunable, clock: Clock, settle_ns: int) -> None:
    """Read what was heard at the rate before, and forget it: all that has come when the time is over."""
    began_ns, end_ns = 0, clock.now_ns() + settle_ns
    while settle_ns and began_ns < end_ns:
        began_ns = clock.now_ns()
        source.read()


def _root(error: BaseException) -> BaseException:
    """What an error was raised from in the end."""
    while error.__cause__ is not None:
        error = error.__cause__
    return error
