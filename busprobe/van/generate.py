"""A whole drive cycle as the batches that a live van would give, or as a recording.

    for batch in generate(seed=1, faults=[Fault.SIREN_IN_PARK]):   about one second a batch
    write_recording(Path("cycle.duckdb"), seed=1)

The same seed and faults always give the same data; a fault changes nothing else.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from busprobe.frames import Batch, Condition, FrameBatch, InputBatch, SourceState, StateBatch
from busprobe.recording.write import RecordingWriter
from busprobe.van import controller, traffic
from busprobe.van.box import BOX, WIRES, Polls, contacts, polls
from busprobe.van.catalogue import BUS
from busprobe.van.database import database_text
from busprobe.van.diagnostics import VIN, talk
from busprobe.van.faults import (
    CHATTER_AT_NS,
    CHECKS,
    LATE_REVERSE,
    LOST_AT_NS,
    LOST_LENGTH_NS,
    SIREN_AT_NS,
    Fault,
    PlantedFault,
)
from busprobe.van.samples import BENCH_FILE, DATABASE_FILE, VEHICLE, bench_text
from busprobe.van.script import END_NS, REVERSE
from busprobe.van.steps import combine, ns
from busprobe.van.traffic import Traffic
from busprobe.van.world import world_of

START_NS = 1_768_368_600 * 1_000_000_000
"""2026-01-14 05:30:00 UTC."""
BATCH_NS = ns(1.0)


@dataclass(frozen=True)
class Cycle:
    """All data of one drive cycle; times in ns since its beginning."""

    frames: Traffic
    polls: Polls
    planted: tuple[PlantedFault, ...]


def cycle(seed: int = 1, faults: Collection[Fault] = ()) -> Cycle:
    world = world_of(seed)
    ready = traffic.joined([traffic.of_messages(world), talk(world)])
    heard = traffic.on_the_wire(ready)
    view = controller.seen(world, heard, ready)
    outputs = controller.outputs(world, view, faults)
    lines = polls(world, contacts(world, outputs, faults), outputs["aux_feed"])
    frames = _without_lost(heard) if Fault.SIGNAL_LOST in faults else heard
    found = [PlantedFault(f, START_NS + _begin_ns(f, view, frames, lines), CHECKS[f]) for f in Fault if f in faults]
    return Cycle(frames, lines, tuple(sorted(found, key=lambda p: p.t_ns)))


def _without_lost(heard: Traffic) -> Traffic:
    """TransmissionStatus is silent for a while; its counter runs on."""
    silent = (heard.t_ns >= LOST_AT_NS) & (heard.t_ns < LOST_AT_NS + LOST_LENGTH_NS)
    return heard.take(~(silent & heard.carries("TransmissionStatus")))


def _begin_ns(fault: Fault, view: controller.Seen, frames: Traffic, lines: Polls) -> int:
    """When a planted fault begins, as the data show it."""
    match fault:
        case Fault.LATE_REAR_WHITE:
            return int(combine(lambda gear: gear == REVERSE, view.gear).rises()[LATE_REVERSE])
        case Fault.SIREN_IN_PARK:
            return _first_change(lines, "siren", SIREN_AT_NS)
        case Fault.CHATTERING_DOOR:
            return _first_change(lines, "rear_door_pin", CHATTER_AT_NS)
        case Fault.SIGNAL_LOST:
            heard = frames.stamps("TransmissionStatus")
            return int(heard[heard < LOST_AT_NS][-1])
        case Fault.NEVER_YIELDS:
            switch = view.steps["warning_switch"]
            return int(combine(lambda b, s: (b != 0) & (s != 0), view.brake, switch).rises()[0])


def _first_change(lines: Polls, wire: str, after_ns: int) -> int:
    """First poll after `after_ns` in which the wire's level differs from the poll before."""
    bit = np.uint64(next(k for k, w in enumerate(WIRES) if w.name == wire))
    level = lines.mask >> bit & np.uint64(1)
    changed = np.flatnonzero(level[1:] != level[:-1]) + 1
    return int(lines.t_ns[changed][lines.t_ns[changed] >= after_ns][0])


def planted(seed: int = 1, faults: Collection[Fault] = ()) -> list[PlantedFault]:
    """What `generate` plants, in order of time."""
    return list(cycle(seed, faults).planted)


def generate(seed: int = 1, faults: Collection[Fault] = ()) -> Iterator[Batch]:
    """States, frames and polls of each second of the cycle, in order of time."""
    whole = cycle(seed, faults)
    yield from batches(whole.frames, whole.polls)


def batches(frames: Traffic, lines: Polls) -> Iterator[Batch]:
    """The data of a cycle, second by second."""
    up = (SourceState(START_NS, BUS, Condition.UP), SourceState(START_NS, BOX, Condition.UP))
    for begin in range(0, END_NS, BATCH_NS):
        end = min(begin + BATCH_NS, END_NS)
        share = end / END_NS
        yield StateBatch(up if begin == 0 else (), START_NS + end)
        yield _frames(frames, begin, end, share)
        yield _inputs(lines, begin, end, share)


def _frames(frames: Traffic, begin: int, end: int, share: float) -> FrameBatch:
    first, last = np.searchsorted(frames.t_ns, [begin, end])
    part = frames.take(np.arange(first, last))
    return FrameBatch(
        part.t_ns + START_NS,
        (BUS,),
        np.zeros(last - first, np.uint8),
        part.identifier,
        part.flags,
        part.length,
        part.payload,
        complete_to_ns=START_NS + end,
        share=share,
    )


def _inputs(lines: Polls, begin: int, end: int, share: float) -> InputBatch:
    part = slice(*np.searchsorted(lines.t_ns, [begin, end]))
    return InputBatch(
        BOX,
        lines.t_ns[part] + START_NS,
        lines.mask[part],
        lines.analogue[part],
        complete_to_ns=START_NS + end,
        share=share,
    )


def write_recording(path: Path, seed: int = 1, faults: Collection[Fault] = (), *, overwrite: bool = False) -> None:
    """Writes the cycle as a recording, with its bench file and database inside."""
    about = {
        "vehicle": VEHICLE,
        "vin": VIN,
        "start_ns": str(START_NS),
        "origin": f"busprobe.van, seed {seed}",
        "planted": ", ".join(f.value for f in Fault if f in faults) or "nothing",
    }
    bench = {BENCH_FILE: bench_text(), DATABASE_FILE: database_text()}
    with RecordingWriter(path, about=about, bench=bench, overwrite=overwrite) as writer:
        for batch in generate(seed, faults):
            writer.add(batch)
