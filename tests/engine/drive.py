"""A small van for the engine: real frames, polls and source states, evaluated whole and in pieces.

Times are ms as text or numbers. A drive is evaluated in one piece, and in small ones with the
batches of its sources in other orders; the results must not differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random

import numpy as np

from busprobe.bench.load import loads
from busprobe.decode.database import load
from busprobe.engine.engine import Engine, Results
from busprobe.engine.plan import Plan, build
from busprobe.frames import Batch, Condition, FrameBatch, InputBatch, SourceState, StateBatch
from busprobe.results import CheckResult, Outcome

MS = 1_000_000
DATABASE = load(Path(__file__).parent / "data" / "bench_van.dbc")
FRAMES, STATES = "frames", "states"

HEAD = """
[vehicle]
name = "Engine test van"
[[bus]]
name = "body"
[[inputs]]
name = "box"
driver = "text-lines"
port = "x"
period = "10 ms"
[[inputs.line]]
name = "lamp_wire"
number = 0
[[inputs.line]]
name = "switch_wire"
number = 1
active = "low"
debounce = "40 ms"
[[inputs.line]]
name = "feed_wire"
number = 0
analogue = true
above = "9 V"
below_again = "6 V"
[[inputs.line]]
name = "battery_wire"
number = 1
analogue = true
"""
SIGNALS = """
[signals]
gear = { from = "body.Transmission.SelectedGear", values = { Park = "P", Reverse = "R", Neutral = "N", Drive = "D" } }
brake = { from = "body.Brake.PedalSwitch" }
park_brake = { from = "body.Brake.ParkBrake" }
speed = { from = "body.Wheels.Speed" }
obd_speed = { from = "obd.0D" }
rear_door = { from = "body.Doors.Rear" }
lamp = { from = "box.lamp_wire" }
switch = { from = "box.switch_wire" }
feed = { from = "box.feed_wire" }
battery = { from = "box.battery_wire" }
"""

GEARS = {"P": 0, "R": 1, "N": 2, "D": 3, "?": 15}

Frame = tuple[float, int, str]
"""(ms, identifier, payload as hex digits)."""


def ns(ms: float) -> int:
    return round(ms * MS)


@cache
def plan(rest: str, head: str = HEAD + SIGNALS) -> Plan:
    """The bench file with these checks and triggers, and its buses' database."""
    bench = loads(head + rest)
    return build(bench, {bus.name: [DATABASE] for bus in bench.buses})


# Data.


def frames(rows: Iterable[Frame], channel: str = "body") -> FrameBatch:
    """Frames of one channel, in the order given."""
    return on_channels([(t, channel, identifier, payload) for t, identifier, payload in rows])


def on_channels(rows: Iterable[tuple[float, str, int, str]]) -> FrameBatch:
    """(ms, channel, identifier, payload) in the order given."""
    rows = list(rows)
    channels = tuple(dict.fromkeys(channel for _, channel, _, _ in rows)) or ("body",)
    payloads = [bytes.fromhex(payload) for *_, payload in rows]
    return FrameBatch(
        np.array([ns(t) for t, *_ in rows], np.int64),
        channels,
        np.array([channels.index(channel) for _, channel, _, _ in rows], np.uint8),
        np.array([identifier for _, _, identifier, _ in rows], np.uint32),
        np.zeros(len(rows), np.uint8),
        np.array([len(p) for p in payloads], np.uint8),
        np.array([int.from_bytes(p[:8], "little") for p in payloads], np.uint64),
    )


def steps(text: str) -> list[tuple[float, str]]:
    """(ms, word) of "0 P, 1000 R"."""
    return [(float(part.split()[0]), part.split()[1]) for part in text.split(",") if part.strip()]


def sent(identifier: int, text: str, end: float, payload: Mapping[str, str], every: float = 100) -> list[Frame]:
    """A message sent every so often and at each change of what it says. "-": not sent from there on."""
    changes = steps(text)
    times = sorted({t for t, _ in changes} | {float(t) for t in np.arange(0, end, every)})
    out = []
    for t in times:
        word = next((w for at, w in reversed(changes) if at <= t), "-")
        if word != "-":
            out.append((t, identifier, payload.get(word, word)))
    return out


def gear(text: str, end: float) -> list[Frame]:
    return sent(256, text, end, {g: f"{raw:02X}00" for g, raw in GEARS.items()})


def brake(text: str, end: float) -> list[Frame]:
    """Raw value of the pedal switch."""
    return sent(272, text, end, {str(raw): f"{raw:02X}" for raw in range(4)})


def kmh(text: str, end: float) -> list[Frame]:
    """Wheel speed in km/h."""
    changes = {word for _, word in steps(text)} - {"-"}
    return sent(288, text, end, {w: round(float(w) * 100).to_bytes(2, "little").hex() for w in changes})


def pid_0d(rows: Sequence[tuple[float, int]]) -> list[Frame]:
    """Vehicle speed in whole km/h: the request, and 10 ms later the answer of unit 7E8."""
    out: list[Frame] = []
    for t, value in rows:
        out += [(t - 10, 0x7DF, "02010D0000000000"), (t, 0x7E8, f"03410D{value:02X}00000000")]
    return out


def in_order(*parts: Iterable[Frame]) -> list[Frame]:
    return sorted((row for part in parts for row in part), key=lambda row: row[0])


def polls(
    lamp: str = "", end: float = 0, *, switch: str = "0 F", feed: Mapping[float, int] | None = None,
    battery: int = 12_600, every: float = 10, extra: Sequence[float] = (), without: tuple[float, float] = (0, 0),
) -> InputBatch:  # fmt: skip
    """Polls of the box every so often up to `end`, and at the times `extra`; none in [without).

    lamp, switch: what each says, T on and F off. feed: from ms on so many mV.
    """
    times = sorted({float(t) for t in np.arange(0, end + 1e-9, every)} | set(extra))
    times = [t for t in times if not without[0] <= t < without[1]]
    lamp_on, switch_on = (_held(steps(text), times) for text in (lamp or "0 F", switch))
    millivolts = [[_at(feed or {0: 0}, t), battery] for t in times]
    return InputBatch(
        "box",
        np.array([ns(t) for t in times], np.int64),
        np.array([a | (not b) << 1 for a, b in zip(lamp_on, switch_on, strict=True)], np.uint64),
        np.array(millivolts, np.int32).reshape(len(times), 2),
    )


def _held(changes: list[tuple[float, str]], times: list[float]) -> list[bool]:
    return [next((w == "T" for at, w in reversed(changes) if at <= t), False) for t in times]


def _at(levels: Mapping[float, int], t: float) -> int:
    return levels[max(at for at in levels if at <= t)]


def states(*rows: tuple[float, str, str]) -> StateBatch:
    """(ms, source, "up" or "down")."""
    return StateBatch(tuple(SourceState(ns(t), source, Condition(condition)) for t, source, condition in rows))


# Evaluation.


def evaluate(
    rest: str, end: float, *data: Batch, head: str = HEAD + SIGNALS, uncertainty_ns: int | Mapping[str, int] = 0
) -> Results:
    """The results of a drive that ends at `end`; the same in one piece, in small ones and in other orders."""
    given = plan(rest, head)
    sources = {_name(batch): batch for batch in data}
    whole = [(name, replace(batch, complete_to_ns=ns(end))) for name, batch in sources.items()]
    results = run(given, whole, uncertainty_ns=uncertainty_ns)
    for size in (5, 23):
        pieces = {name: chunks(batch, size, ns(end)) for name, batch in sources.items()}
        dealt = deal(pieces, Random(size))
        assert run(given, dealt, advance_every=2, uncertainty_ns=uncertainty_ns) == results
    return results


def run(
    given: Plan,
    dealt: Sequence[tuple[str, Batch]],
    *,
    advance_every: int = 0,
    uncertainty_ns: int | Mapping[str, int] = 0,
) -> Results:
    """Push batches in this order; `advance` after every so many of them, or never."""
    engine = Engine(given, sorted({name for name, _ in dealt}), uncertainty_ns)
    lines = []
    for number, (name, batch) in enumerate(dealt, 1):
        engine.push(name, batch)
        if advance_every and number % advance_every == 0:
            lines += engine.advance()
    results = engine.finish()
    assert tuple(lines) == results.log[: len(lines)]
    return results


def _name(batch: Batch) -> str:
    if isinstance(batch, FrameBatch):
        return FRAMES
    return batch.box if isinstance(batch, InputBatch) else STATES


def chunks(batch: Batch, size: int, end_ns: int) -> list[Batch]:
    """The batch in pieces of so many rows, each saying how far it is complete."""
    if isinstance(batch, StateBatch):
        count, cut = len(batch.rows), lambda a, b: StateBatch(batch.rows[a:b])
        t_ns = np.array([row.t_ns for row in batch.rows], np.int64)
    else:
        count, cut, t_ns = len(batch), batch.cut, batch.t_ns
    out = []
    for start in range(0, max(count, 1), size):
        later = t_ns[start + size :]
        complete = min(int(later.min()), end_ns) if len(later) else end_ns
        out.append(replace(cut(start, min(start + size, count)), complete_to_ns=complete))
    return out


def deal(pieces: Mapping[str, Sequence[Batch]], random: Random) -> list[tuple[str, Batch]]:
    """The sources' batches in some order, each source's own kept."""
    names = [name for name, batches in pieces.items() for _ in batches]
    random.shuffle(names)
    left = {name: iter(batches) for name, batches in pieces.items()}
    return [(name, next(left[name])) for name in names]


def told(result: CheckResult) -> list[str]:
    """Occurrences in a line each: "1000 passed +200 @1200", times in ms."""
    lines = []
    for o in result.occurrences:
        words = [f"{o.t_ns / MS:.10g}", o.part, o.outcome.value]
        if o.latency_ns is not None and o.outcome is not Outcome.CUT:
            words.append(f"+{o.latency_ns / MS:.10g}")
        if o.length_ns is not None:
            words.append(f"for {o.length_ns / MS:.10g}")
        words.append(f"@{o.decided_ns / MS:.10g}")
        if o.tight:
            words.append("tight")
        lines.append(" ".join(w for w in words if w))
    return lines


def triggered(results: Results) -> list[str]:
    """Trigger lines: "1000 name @1040" and what the signals said."""
    return [
        f"{e.t_ns / MS:.10g} {e.name}" + (f" @{e.decided_ns / MS:.10g}" if e.decided_ns > e.t_ns else "")
        for e in results.triggers
    ]


def check(text: str, name: str = "c") -> str:
    return f'[[check]]\nname = "{name}"\n{text}\n'


def trigger(on: str, name: str = "t") -> str:
    return f'[[trigger]]\nname = "{name}"\non = "{on}"\n'
