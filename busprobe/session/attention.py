"""What wants attention in a picture, the worst first: gaps, errors, losses, load, space, silence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from busprobe.obd_identifiers import is_answer
from busprobe.report.advice import NOTHING_HEARD, WIRES, errors_text, fault_text, overrun_text
from busprobe.report.live_text import size_text
from busprobe.report.quantities import counted, exact, moment, times
from busprobe.session.downs import DownsNow, down_text
from busprobe.session.snapshot import RecorderNow, SignalNow, Snapshot, SourceNow
from busprobe.session.vanished import is_obd, strange, vanished

HIGH_LOAD = 0.7
"""Share of a bus from which frames of low priority begin to wait long; common practice, no source."""
LEAST_FREE = 1_000_000_000
"""Bytes of free space below which it is pointed out; a recording stops by itself at 200 MB."""
SILENCE_NS = 10_000_000_000
"""A live bus that gave no good frame for this long from the start on wants attention."""

_CHATTERS = "Look at its contact, plug and wire; the wiggle test (w on screen 6) watches it."
_LATE = "Close other programs that keep the machine busy."
_CABLES = {"bus": "Look at the adapter's plug and cable.", "box": "Look at the box's supply, plug and cable."}
"""What to do where a source was down, by its kind."""
_STATES = {
    "off": (
        "Bus off: after too many errors the adapter takes no part any more. Wrong bit rate, a short circuit, "
        "or CAN high and CAN low swapped."
    ),
    "passive": "Error passive: the adapter has counted more than 127 errors. Look at bit rate, wires and terminators.",
}
"""Error states of a controller: ISO 11898-1."""


class Wanted(NamedTuple):
    where: str
    what: str
    """One line, or several."""
    is_bad: bool = False


def attention(picture: Snapshot) -> list[Wanted]:
    """All that wants attention; what is bad comes first."""
    found = [*_run(picture)]
    for source in picture.sources:
        found += _source(source, picture.downs.get(source.name, DownsNow()), picture)
    found += [Wanted(gone.where, gone.what, True) for gone in vanished(picture)]
    found += [
        Wanted(signal.name, f"{_chatter(signal, picture.start_ns)}. {_CHATTERS}", signal.bounce.is_chattering)
        for signal in picture.signals
        if signal.bounce.chatters or signal.bounce.is_chattering
    ]
    found += [Wanted("note", problem) for problem in picture.problems]
    return sorted(found, key=lambda one: not one.is_bad)


def _chatter(signal: SignalNow, start_ns: int) -> str:
    """How a line chatters or did: a burst that goes on is not among those that are counted."""
    before = times(signal.bounce.chatters) if signal.bounce.chatters else ""
    if not signal.bounce.is_chattering:
        return f"Chattered {before}"
    since = "" if signal.since_ns is None else f", since {moment(signal.since_ns, start_ns)}"
    return f"Chatters now{since}{f'; chattered {before} before' if before else ''}"


def _run(picture: Snapshot) -> Iterator[Wanted]:
    """What is wrong with the run as a whole."""
    if picture.failure:
        yield Wanted("busprobe", picture.failure, True)
    if picture.recorder is not None:
        yield from _recorder(picture.recorder)
    if picture.lost:
        yield Wanted("busprobe", overrun_text(picture.lost, is_recorded=picture.recorder is not None), True)
    if picture.late:
        kept = "; they are recorded." if picture.recorder is not None and not picture.recorder.failure else "."
        yield Wanted("busprobe", f"{counted(picture.late, 'record')} came too late to count{kept} {_LATE}")


def _recorder(recorder: RecorderNow) -> Iterator[Wanted]:
    if recorder.failure:
        yield Wanted("recording", recorder.failure, True)
    elif recorder.free < LEAST_FREE:
        free = size_text(recorder.free)
        yield Wanted("recording", f"Only {free} free: make room, recording stops by itself at about 200 MB.")


def _source(source: SourceNow, downs: DownsNow, picture: Snapshot) -> Iterator[Wanted]:
    note = downs.last.note if downs.last is not None else ""
    if source.trouble and source.trouble != note:
        yield Wanted(source.name, source.trouble, True)
    if downs.count:
        is_over = picture.mode == "live" and picture.failure  # nothing comes any more, and it is said why
        advice = "" if is_over else f" {_CABLES[source.kind]}"
        yield Wanted(source.name, down_text(downs, picture.start_ns) + advice, downs.last is not None)
    elif source.gaps:
        yield Wanted(source.name, f"Was down {times(source.gaps)} before the time shown begins. {_CABLES[source.kind]}")
    if source.kind == "bus":
        yield from _bus(source, picture)
    for fault in source.faults:
        told = fault_text(fault)
        yield Wanted(source.name, told[0].upper() + told[1:])
    if source.lost:
        yield Wanted(source.name, f"The driver says it lost {counted(source.lost, 'record')}.")


def _bus(source: SourceNow, picture: Snapshot) -> Iterator[Wanted]:
    good = _good_frames(picture).get(source.name, 0)
    yield from _silence(source, good, picture)
    if told := strange(source, picture):
        yield Wanted(source.name, told, True)
    if source.errors and good:
        yield Wanted(source.name, f"{errors_text(source.errors, good)}: look at wires, plugs and terminators.")
    if source.is_up and source.state in _STATES:
        yield Wanted(source.name, _STATES[source.state], source.state == "off")
    if source.load is not None and source.load >= HIGH_LOAD:
        told = f"{source.load:.0%} of the bus is in use: frames of low priority wait long, and may come too late."
        yield Wanted(source.name, told)


def _silence(source: SourceNow, good: int, picture: Snapshot) -> Iterator[Wanted]:
    """Of a bus that gave no good frame: what was heard instead, and what to try."""
    if good:
        return
    length = picture.t_ns - picture.start_ns
    if source.errors:
        told = [errors_text(source.errors, good), WIRES]
    elif picture.mode == "live" and source.is_up and length >= SILENCE_NS:
        steps = [f"{number}. {step}" for number, step in enumerate(NOTHING_HEARD, 1)]
        told = [f"No frame was heard in {exact(length // 10**9 * 10**9)}. What to try, in this order:", *steps]
    else:
        return
    yield Wanted(source.name, "\n".join(told), True)


def _good_frames(picture: Snapshot) -> Mapping[str, int]:
    """By channel, frames that were neither error frames nor late, nor requests where busprobe asks itself."""
    table = picture.frames
    asking = {one.bus for one in picture.requests if one.sent}
    counts = dict.fromkeys(table.channels, 0)
    columns = (table.channel.tolist(), table.identifier.tolist(), table.is_extended.tolist(), table.count.tolist())
    for channel, number, extended, count in zip(*columns, strict=True):
        name = table.channels[channel]
        if name not in asking or not is_obd(number, bool(extended)) or is_answer(number):
            counts[name] += count
    return counts
