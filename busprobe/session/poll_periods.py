"""How often input lines are polled, and so whether bounce can be seen on them."""

from __future__ import annotations

from collections.abc import Mapping

from busprobe.bench.nodes import signals_of
from busprobe.engine.plan import Plan
from busprobe.engine.signal_plan import LineTap
from busprobe.session.polls import Polls
from busprobe.sources.pace import is_bounce_measurable


class PollPeriods:
    """Of the boxes of a bench, and of its signals, at any time."""

    def __init__(self, plan: Plan, polls: Polls) -> None:
        self._polls = polls
        self._asked = {box.name: box.period_ns for box in plan.bench.boxes}
        self._boxes_of = {name: _boxes_of(name, plan) for name in (*plan.signals, *plan.derived)}

    def of_box(self, box: str, t_ns: int) -> int:
        """Time between polls of a box: achieved; before that is measured, as the bench file asks for."""
        achieved = self._polls.period_ns(box, t_ns)
        return self._asked[box] if achieved is None else achieved

    def sees_bounce(self, box: str, t_ns: int) -> bool:
        """Whether the lines of a box are polled often enough to measure bounce."""
        return is_bounce_measurable(self.of_box(box, t_ns))

    def of_signals(self, t_ns: int) -> Mapping[str, int | None]:
        """By signal, the longest time between polls of a box that it comes from; None: it comes from none."""
        every = {box: self.of_box(box, t_ns) for box in self._asked}
        return {name: max((every[box] for box in boxes), default=None) for name, boxes in self._boxes_of.items()}


def _boxes_of(name: str, plan: Plan) -> frozenset[str]:
    """The boxes that a signal comes from; a derived one by way of what it is made from."""
    if name in plan.derived:
        return frozenset(box for one in signals_of(plan.derived[name].node) for box in _boxes_of(one, plan))
    return frozenset(s.tap.box.name for s in plan.signals[name].sources if isinstance(s.tap, LineTap))
