"""What live and replay scenes have in common: the bench, its histories, and pictures of an instant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from busprobe.analysis.frame_tally import FrameTally, row_key
from busprobe.decode.layout import Database, MessageLayout
from busprobe.engine.because import Said, because
from busprobe.engine.history import Bounce, History, Past
from busprobe.engine.mapping import bus_names
from busprobe.engine.plan import Plan
from busprobe.engine.signal_plan import LineTap, ObdTap
from busprobe.engine.why import excused
from busprobe.errors import BenchError
from busprobe.results import CheckResult
from busprobe.session.downs import Downs
from busprobe.session.frame_tables import FrameTables
from busprobe.session.made_now import MadeNow
from busprobe.session.origin import TOO_OLD, Origin, Origins
from busprobe.session.overdue import Overdue
from busprobe.session.picture import ChecksAt, about, new_histories, outputs, signal_now
from busprobe.session.poll_periods import PollPeriods
from busprobe.session.polls import Polls
from busprobe.session.signal_path import frame_detail, signal_path
from busprobe.session.signals_now import Make, SignalsNow
from busprobe.session.snapshot import FrameDetail, FrameTable, SignalNow, SignalPath
from busprobe.session.strips import Strips
from busprobe.session.taken_over import TakenOver, held_back, taken_over
from busprobe.timeline import ASLEEP, TRUE, UNKNOWN


class _Heard(NamedTuple):
    """What came last up to an instant."""

    t_ns: int
    number: Mapping[str, int]
    """By bus, its channel in the tally."""
    last: Mapping[int, int]
    """By key of the tally, time of the newest frame."""


class _Instant(NamedTuple):
    """What counts at an instant."""

    t_ns: int
    origins: dict[str, Origin]
    """By signal, the source that counts."""
    taken: Mapping[str, TakenOver]
    """By signal whose source is too old, or that logic has not told of, what a source gives."""
    made: MadeNow


class Board:
    """Histories of a plan's signals and what can be said from them at any time."""

    def __init__(self, plan: Plan, databases: Mapping[str, Sequence[Database]]) -> None:
        self.plan = plan
        self.histories: Mapping[str, History] = new_histories(plan)
        self.downs = Downs()
        """Source states so far, in order of time."""
        self._databases = databases
        effects = outputs(plan)
        self._about = {n: about(n, plan, effects) for n in (*plan.signals, *plan.derived)}
        self._roles = {name: what.role for name, what in self._about.items()}
        self._strips = {name: Strips(self.histories[name]) for name in self._about}
        self._origins = {name: Origins(signal, self.histories[name]) for name, signal in plan.signals.items()}
        self._several = tuple(name for name, origins in self._origins.items() if len(origins.sources) > 1)
        self.polls = Polls()
        """Of input boxes; `Polls.add` takes new ones."""
        self.periods = PollPeriods(plan, self.polls)
        self._checks = ChecksAt(plan)
        signal_of: dict[str, dict[str, str]] = {box.name: {} for box in plan.bench.boxes}
        for name, signal in plan.signals.items():
            for source in signal.sources:
                if isinstance(source.tap, LineTap):
                    signal_of[source.tap.box.name].setdefault(source.tap.line.name, name)
        self._line_signals = {box: tuple(names.values()) for box, names in signal_of.items()}
        """By box, one signal for each of its lines."""
        self._messages = {
            (bus, m.identifier, m.is_extended): m for bus, found in databases.items() for d in found for m in d.messages
        }
        self._of_channels: dict[tuple[str, ...], Mapping[tuple[str, int, bool], MessageLayout]] = {}
        self._tables = FrameTables(self._messages_of)
        self._overdue = Overdue(plan, self.histories)

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong with the databases, a sentence each."""
        unique = {id(d): d for found in self._databases.values() for d in found}
        return tuple(str(problem) for d in unique.values() for problem in d.faulty)

    def signals(self, t_ns: int, tally: FrameTally) -> SignalsNow:
        """Of an instant up to which logic has come; the tally is no longer added to."""

        def begin() -> Make:
            at, periods = self._instant(t_ns, tally), self.periods.of_signals(t_ns)
            return lambda name: self._now(name, at, periods[name])[0]

        return SignalsNow(self._roles, begin)

    def _now(self, name: str, at: _Instant, poll_ns: int | None) -> tuple[SignalNow, Origin | None]:
        """A signal, and the source that counts."""
        about, history, strips = self._about[name], self.histories[name], self._strips[name]
        taken, past = at.taken.get(name), self._past(name, at)
        is_other = taken is not None or name in at.made.overdue or self._is_behind(name, at)
        origin = at.origins.get(name) if taken is None else taken.origin
        now = signal_now(
            about, history, strips, at.t_ns, origin, self._said(name, at), poll_ns,
            at.made.overdue[name] if past is None else None, past if is_other else None,
        )  # fmt: skip
        return now, origin

    def _past(self, name: str, at: _Instant) -> Past | None:
        """Of a signal; None: it is too old, or made from one that is."""
        if name in at.taken:
            return at.taken[name].past
        if name not in at.made.overdue:
            made = at.made.past(name) if self._is_behind(name, at) else None
            return self.histories[name].past if made is None else made
        return at.made.past(name) if name in self.plan.derived else None

    def _is_behind(self, name: str, at: _Instant) -> bool:
        return name in self.plan.derived and at.made.is_behind(name)

    def _said(self, name: str, at: _Instant) -> Said:
        """Whether a signal was unknown, and why."""
        past, made = self._past(name, at), self.plan.derived.get(name)
        if past is None:
            return self._too_old(name, at)
        place = past.index_at(at.t_ns)
        code = int(past.code[place])
        if code <= TRUE:
            return Said(code, "")
        if made is not None:
            return Said(code, because(made, code, self.plan.derived, lambda operand: self._said(operand, at)))
        origin = at.origins[name]
        if origin.missing:
            return Said(UNKNOWN, origin.missing)
        return Said(code, excused(int(past.t_ns[place])) if code == ASLEEP else origin.why)

    def _too_old(self, name: str, at: _Instant) -> Said:
        """The same of what is left to logic: that another source gives an operand helps nothing there."""
        made = self.plan.derived.get(name)
        if name not in at.made.overdue:
            return self._said(name, at)
        if made is None:
            return Said(UNKNOWN, TOO_OLD)
        return Said(UNKNOWN, because(made, UNKNOWN, self.plan.derived, lambda operand: self._too_old(operand, at)))

    def bounce(self, box: str, t_ns: int) -> Bounce:
        """What was taken out of all lines of a box up to a time."""
        found = [self.histories[name].bounce_at(t_ns) for name in self._line_signals[box]]
        return Bounce(
            sum(b.glitches for b in found),
            sum(b.extra for b in found),
            max((b.longest_ns for b in found), default=0),
            sum(b.chatters for b in found),
            sum(b.transitions for b in found),
        )

    def frame_table(self, tally: FrameTally) -> FrameTable:
        return self._tables.table(tally)

    def described(self, channel: str) -> int:
        """How many messages the databases of a channel describe."""
        bus = self.bus_of(channel)
        return sum(of == bus for of, _, _ in self._messages)

    def checks_at(self, checks: Sequence[CheckResult], t_ns: int) -> tuple[CheckResult, ...]:
        return self._checks.at(checks, t_ns)

    def frame_detail(self, tally: FrameTally, channel: str, identifier: int, is_extended: bool) -> FrameDetail | None:
        bus = dict(zip(tally.channels, self._buses(tally.channels), strict=True)).get(channel, channel)
        return frame_detail(tally, {channel: self._databases.get(bus, ())}, channel, identifier, is_extended)

    def path(self, name: str, t_ns: int, tally: FrameTally, checks: Sequence[CheckResult]) -> SignalPath | None:
        if name not in self._about:
            return None
        at = self._instant(t_ns, tally)
        now, origin = self._now(name, at, self.periods.of_signals(t_ns)[name])
        channel_of = dict(zip(self._buses(tally.channels), tally.channels, strict=True))
        return signal_path(now, origin, self.plan, tally, self.histories, checks, t_ns, channel_of, self.polls, at.made)

    def bus_of(self, channel: str) -> str:
        """The bus that a channel belongs to, as far as known."""
        return self._buses((channel,))[0]

    def _buses(self, channels: tuple[str, ...]) -> tuple[str, ...]:
        """The bus of each channel; a channel that matches none keeps its name."""
        try:
            return bus_names(channels, self.plan.bench)
        except BenchError:
            return channels

    def _messages_of(self, channels: tuple[str, ...]) -> Mapping[tuple[str, int, bool], MessageLayout]:
        """By channel, identifier and whether it has 29 bits."""
        if channels not in self._of_channels:
            found: dict[tuple[str, int, bool], MessageLayout] = {}
            for channel, bus in zip(channels, self._buses(channels), strict=True):
                found |= {(channel, i, e): m for (b, i, e), m in self._messages.items() if b == bus}
            self._of_channels[channels] = found
        return self._of_channels[channels]

    def _instant(self, t_ns: int, tally: FrameTally) -> _Instant:
        rows = tally.rows
        number = {bus: i for i, bus in enumerate(self._buses(tally.channels))}
        last = dict(zip(rows.key.tolist(), rows.last_ns.tolist(), strict=True))
        heard = _Heard(t_ns, number, last)
        counting = {}
        for name, origins in self._origins.items():
            place = origins.place_at(t_ns)
            counting[name] = origins.at(t_ns, place, self._newest_of(name, place, heard))
        overdue, taken = self._overdue.at(t_ns, counting), {}
        for name in self._several:
            found = self._taken_over(name, overdue.get(name), heard)
            if found is not None:
                taken[name] = found
        return _Instant(t_ns, counting, taken, MadeNow(self.plan, self.histories, t_ns, overdue, taken))

    def _taken_over(self, name: str, over_ns: int | None, at: _Heard) -> TakenOver | None:
        """What a signal of several sources says instead. over_ns: since when it is too old, if it is."""

        def newest_of(place: int) -> int | None:
            return self._newest_of(name, place, at)

        origins, history = self._origins[name], self.histories[name]
        if over_ns is None:
            return held_back(origins, history, at.t_ns, newest_of)
        return taken_over(origins, history, at.t_ns, over_ns, newest_of)

    def _newest_of(self, name: str, place: int, at: _Heard) -> int | None:
        """Time of the newest sample of one source of a signal."""
        origins = self._origins[name]
        tap = origins.sources[place].tap
        if isinstance(tap, LineTap):
            return self.polls.newest_ns(tap.box.name, at.t_ns)
        if isinstance(tap, ObdTap) or tap.layout.multiplexer:
            return origins.last_sample(at.t_ns, place)
        if tap.bus not in at.number:
            return None
        newest_ns = at.last.get(row_key(at.number[tap.bus], tap.message.identifier, tap.message.is_extended))
        if newest_ns is not None and newest_ns > at.t_ns:
            # It has come since; what was the newest then is gone from the tally.
            earlier_ns = origins.last_that_ran_out(at.t_ns, place)
            return newest_ns if earlier_ns is None else earlier_ns
        return newest_ns
