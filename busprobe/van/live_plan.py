"""One drive cycle with live faults: the offline drive, changed while a fault is set and only then.

Nothing before a spell depends on it, so a cycle may be planned again while it is being driven:
what has been sent stays as it was.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

import numpy as np

from busprobe.frames import BoolArray
from busprobe.van import controller, traffic
from busprobe.van.box import FROM_WORLD, WIRES, Polls, chatter, contacts, levels, polls
from busprobe.van.diagnostics import talk
from busprobe.van.faults import ALERT_AFTER_NS
from busprobe.van.live_faults import Kind, Spell
from busprobe.van.steps import NEVER, Steps, combine, delayed, ns, replaced, steps_of
from busprobe.van.traffic import NO_MESSAGE, Traffic
from busprobe.van.world import World, world_of

LATE_BY_NS = ns(1.0)
"""Longer than any promise of the bench file that a delay could break."""
ALERT_TAIL_NS = ns(0.09)
DOORS = ("rear_door", "side_door")
ON = steps_of([], 1)


@dataclass(frozen=True)
class Plan:
    """All that is sent in one cycle; times in ns since its beginning."""

    world: World
    frames: Traffic
    levels: Steps
    """Of all on/off lines together, between polls too."""
    polls: Polls
    spells: tuple[Spell, ...]


def plan(seed: int, spells: Collection[Spell] = ()) -> Plan:
    """The cycle with faults; spells in ns since its beginning."""
    weak = NEVER
    for spell in _of_kind(spells, Kind.LOW_BATTERY):
        weak = replaced(weak, spell.from_ns, spell.to_ns, ON)
    world = world_of(seed, weak)
    ready = traffic.joined([traffic.of_messages(world), talk(world)])
    heard = traffic.on_the_wire(ready)
    view = controller.seen(world, heard, ready)
    outputs = controller.outputs(world, view, ())
    outputs["door_alert"] = _fooled_alert(outputs["door_alert"], view.moving, spells)
    for name in outputs:
        outputs[name] = _faulty_output(outputs[name], [s for s in spells if s.fault.target == name])
    wires = contacts(world, outputs, ())
    for wire in WIRES:
        for spell in _of_kind(spells, Kind.CHATTER):
            if spell.fault.target == FROM_WORLD.get(wire.name):
                wires[wire.name] = _chattering(world, wires[wire.name], spell)
    frames = heard.take(~_unheard(heard, spells))
    return Plan(world, frames, levels(wires), polls(world, wires, outputs["aux_feed"]), tuple(spells))


def _of_kind(spells: Collection[Spell], *kinds: Kind) -> Iterator[Spell]:
    return (spell for spell in spells if spell.fault.kind in kinds)


def _fooled_alert(alert: Steps, moving: Steps, spells: Collection[Spell]) -> Steps:
    """A chattering door sounds the alert on the move, as an open one does."""
    sounds = combine(lambda on, moves: (on != 0) | (moves != 0), alert, moving)
    for spell in _of_kind(spells, Kind.CHATTER):
        if spell.fault.target in DOORS:
            alert = replaced(alert, spell.from_ns + ALERT_AFTER_NS, spell.to_ns + ALERT_TAIL_NS, sounds)
    return alert


def _faulty_output(output: Steps, spells: Collection[Spell]) -> Steps:
    for spell in _of_kind(spells, Kind.LATE):
        changes = output.t_ns[1:]
        wait = np.where((changes >= spell.from_ns) & (changes < spell.to_ns), float(LATE_BY_NS), 0.0)
        output = delayed(output, wait, wait)
    for spell in _of_kind(spells, Kind.STUCK_ON, Kind.STUCK_OFF):
        output = replaced(output, spell.from_ns, spell.to_ns, ON if spell.fault.kind is Kind.STUCK_ON else NEVER)
    return output


def _chattering(world: World, contact: Steps, spell: Spell) -> Steps:
    points = chatter(world, spell.from_ns, spell.to_ns - spell.from_ns)
    return replaced(contact, spell.from_ns, spell.to_ns, steps_of(points))


def _unheard(heard: Traffic, spells: Collection[Spell]) -> BoolArray:
    """Which frames a fault keeps off the bus."""
    out = np.zeros(len(heard.t_ns), np.bool_)
    for kind, concerned in _CONCERNED.items():
        for spell in _of_kind(spells, kind):
            inside = (heard.t_ns >= spell.from_ns) & (heard.t_ns < spell.to_ns)
            out |= inside & concerned(heard, spell.fault.target)
    return out


_CONCERNED: dict[Kind, Callable[[Traffic, str], BoolArray]] = {
    Kind.LOST: lambda heard, message: heard.carries(message),
    Kind.BUS_SILENT: lambda heard, _: np.ones(len(heard.t_ns), np.bool_),
    Kind.UNPLUGGED: lambda heard, _: np.asarray(heard.message == NO_MESSAGE),
}
