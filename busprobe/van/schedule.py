"""What the live van sends and when, one drive cycle after another.

Drive time counts on from cycle to cycle: 0 is the beginning of the first, 600 s that of the second.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from threading import Lock

import numpy as np

from busprobe.van.box_ports import Levels
from busprobe.van.live_faults import FOR_EVER_NS, LiveFault, Spell
from busprobe.van.live_plan import Plan, plan
from busprobe.van.script import END_NS
from busprobe.van.traffic import Traffic
from busprobe.van.world import World


@dataclass(frozen=True)
class Piece:
    """The frames that are due in a short stretch of drive time; stamps in drive time."""

    end_ns: int
    frames: Traffic


class Schedule:
    """The plans of this cycle and the next. Safe to use from two threads."""

    def __init__(self, seed: int, spells: Collection[Spell] = ()) -> None:
        self._seed = seed
        self._spells = tuple(spells)
        self._plans: dict[int, Plan] = {}
        """Never changed, only replaced, so that it can be read while another thread plans."""
        self._planning = Lock()

    def prepare(self, t_ns: int) -> None:
        """Plan the cycle that holds `t_ns`, and forget those before the last one."""
        number = t_ns // END_NS
        if number in self._plans:
            return
        with self._planning:
            plans = {k: p for k, p in self._plans.items() if k >= number - 1}
            self._plans = {**plans, number: self._planned(number)}

    def toggle(self, fault: LiveFault, t_ns: int) -> None:
        """Set the fault from `t_ns` on, or end it there if it is set."""
        with self._planning:
            on = [s for s in self._spells if s.fault == fault and s.from_ns <= t_ns < s.to_ns]
            others = tuple(s for s in self._spells if s not in on)
            ended = tuple(replace(s, to_ns=t_ns) for s in on)
            self._spells = others + (ended or (Spell(fault, t_ns, FOR_EVER_NS),))
            self._plans = {number: self._planned(number) for number in self._plans}

    def active(self, t_ns: int) -> list[LiveFault]:
        return [s.fault for s in self._spells if s.from_ns <= t_ns < s.to_ns]

    def world_at(self, t_ns: int) -> tuple[World, int]:
        """The world at a drive time, and the place in its cycle."""
        plan, place_ns = self._plan_at(t_ns)
        return plan.world, place_ns

    def levels_at(self, t_ns: int) -> Levels:
        """All lines of the input box."""
        plan, place_ns = self._plan_at(t_ns)
        mask = plan.levels.at(np.array([place_ns]))[0]
        row = max(int(np.searchsorted(plan.polls.t_ns, place_ns, side="right")) - 1, 0)
        return Levels(int(mask), tuple(plan.polls.analogue[row].tolist()))

    def piece(self, begin_ns: int, length_ns: int) -> Piece:
        """What is due from `begin_ns` on, up to the end of its cycle at most."""
        plan, place_ns = self._plan_at(begin_ns)
        end_ns = min(place_ns + length_ns, END_NS)
        frames = plan.frames.take(np.arange(*np.searchsorted(plan.frames.t_ns, [place_ns, end_ns])))
        offset = begin_ns - place_ns
        return Piece(end_ns + offset, replace(frames, t_ns=frames.t_ns + offset))

    def _plan_at(self, t_ns: int) -> tuple[Plan, int]:
        """The plan of the cycle that holds `t_ns`, and the place in it."""
        self.prepare(t_ns)
        return self._plans[t_ns // END_NS], t_ns % END_NS

    def _planned(self, number: int) -> Plan:
        """The plan of a cycle; the same one again while nothing is different."""
        parts = (spell.within_cycle(number * END_NS) for spell in self._spells)
        spells = tuple(part for part in parts if part is not None)
        same = (p for p in self._plans.values() if p.spells == spells)
        return next(same, None) or plan(self._seed, spells)
