"""Which source of a signal counts at an instant, and what there is to say of it."""

from __future__ import annotations

from typing import NamedTuple

from busprobe.engine.history import History
from busprobe.engine.signal_plan import LineTap, MessageTap, ObdTap, SignalPlan, Source
from busprobe.engine.tap_past import TapPast
from busprobe.engine.why import NOT_SEEN, SLEEPS
from busprobe.timeline import NEVER

FIRST_STAND_IN = 0x1000_0000
"""Identifiers from here on are given to stand-ins of messages whose database is missing; the comment of such a
message says which. No 11-bit identifier is so large."""
TOO_OLD = "too old"
"""Why a source gives no value whose newest sample is too old, while logic cannot tell yet what that means."""
_EXCUSED = frozenset({"", SLEEPS, NOT_SEEN})


class Origin(NamedTuple):
    """The source that gives a signal its value; the first one where none does."""

    place: int
    source: str
    """ "body.WheelSpeed.VehicleSpeed"."""
    instead: str
    """Sources listed before it, and why they do not count; empty where it is the first."""
    why: str
    """Why the signal is unknown where it is; empty where a source gives it."""
    newest_ns: int | None
    """Time of the newest sample of that source."""
    max_age_ns: int | None
    past: TapPast
    missing: str = ""
    """What keeps it from ever giving a value: "patrol_van.dbc missing"."""

    def is_too_old(self, t_ns: int) -> bool:
        """Whether its newest sample is, at a time."""
        return self.newest_ns is not None and self.max_age_ns is not None and t_ns > self.newest_ns + self.max_age_ns


class Origins:
    """The sources of one signal."""

    def __init__(self, signal: SignalPlan, history: History) -> None:
        self._texts = tuple(tap_text(source) for source in signal.sources)
        self._pasts = tuple(history.tap(i) for i in range(len(signal.sources)))
        several = len(signal.sources) > 1
        self._given = tuple(history.source(i) if several else history for i in range(len(signal.sources)))
        self.sources = signal.sources
        self._missing = "" if len(signal.sources) > 1 else missing_database(signal.sources[0].tap)

    def place_at(self, t_ns: int) -> int:
        """Which source counts at a time."""
        if len(self._pasts) == 1:
            return 0
        return next((i for i, past in enumerate(self._pasts) if not past.word_at(t_ns)), 0)

    def last_sample(self, t_ns: int, place: int) -> int | None:
        """Time of the newest sample of a source that keeps them."""
        return self._pasts[place].last_sample(t_ns)

    def last_that_ran_out(self, t_ns: int, place: int) -> int | None:
        """Time of a source's newest sample at or before a time at which it is too old; None: it is not.

        Logic has come up to that time, but cannot tell yet what it means.
        """
        age_ns, upto_ns = self._pasts[place].max_age_at(t_ns), self._given[place].upto_ns
        return upto_ns - age_ns - 1 if age_ns is not None and NEVER < upto_ns <= t_ns else None

    def at(self, t_ns: int, place: int, newest_ns: int | None) -> Origin:
        """place: of `place_at`; newest_ns: time of that source's newest sample."""
        past = self._pasts[place]
        max_age_ns = past.max_age_at(t_ns if newest_ns is None else newest_ns)
        own = past.word_at(t_ns)
        if not own and not place:
            return Origin(place, self._texts[place], "", "", newest_ns, max_age_ns, past)
        words = [own] if len(self._pasts) == 1 else [p.word_at(t_ns) for p in self._pasts]
        before = zip(self._texts[:place], words[:place], strict=True)
        instead = ", ".join(f"{text} ({word or TOO_OLD})" for text, word in before)
        why = "" if not own else self._missing or next((word for word in words if word not in _EXCUSED), "")
        return Origin(place, self._texts[place], instead, why, newest_ns, max_age_ns, past, self._missing)


def missing_database(tap: MessageTap | ObdTap | LineTap) -> str:
    """Which database is missing that would tell where a signal is; empty where it can be decoded."""
    if not isinstance(tap, MessageTap) or tap.message.is_extended or tap.message.identifier < FIRST_STAND_IN:
        return ""
    return tap.message.comment or "database missing"


def tap_text(source: Source) -> str:
    """A source as a bench file names it."""
    tap = source.tap
    if isinstance(tap, MessageTap):
        return f"{tap.bus}.{tap.message.name}.{tap.layout.name}"
    return f"{tap.box.name}.{tap.line.name}" if isinstance(tap, LineTap) else f"obd.{tap.name}"
