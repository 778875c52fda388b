"""Signals that are gone though they should be there, and buses that carry nothing of what their databases describe."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from busprobe.engine.why import ADAPTER_DOWN, BOX_DOWN, NOT_AGAIN, UNREADABLE
from busprobe.obd_identifiers import ALL_11, ALL_29, ANSWER_29, LAST_11
from busprobe.report.quantities import counted, exact, moment
from busprobe.session.snapshot import FrameTable, Kind, SignalNow, Snapshot, SourceNow
from busprobe.timeline import UNKNOWN

STRANGE_NS = 5_000_000_000
"""A bus that was heard for this long without one message of its databases is probably another one."""
LOST, OBD = "lost", "obd"
ALIKE_NS = 1_000_000_000
"""Ends of losses that are no further apart are told as one."""
_SENDER = "Look at the unit that sends it: its supply and fuse, its plug, its wires to the bus."
_ANSWERS = "Nobody asks any more, or the unit does not answer: look at the tester, then at the unit's supply."
_WIRED = "Look at its supply, its plug and its cable."


class Gone(NamedTuple):
    where: str
    """A bus, a box, or "obd"."""
    what: str
    """Which signals, since when, why, and what to do."""


def vanished(picture: Snapshot) -> Iterator[Gone]:
    """Signals that are lost or whose source is down; none that sleeps.

    What never came yet is left out where the bus woke just now (many units test themselves first), or is strange.
    """
    if picture.mode == "live" and picture.failure:  # nothing comes any more, and it is said why
        return
    is_strange = any(strange(source, picture) for source in picture.sources)
    groups: dict[tuple[str, str, str], list[SignalNow]] = {}
    for signal in picture.signals:
        if signal.code != UNKNOWN or signal.kind is Kind.DERIVED:
            continue
        where, _, rest = signal.source.partition(".")
        is_never = signal.age_ns is None
        is_early = signal.since_ns is not None and picture.t_ns - signal.since_ns < STRANGE_NS
        if signal.why == LOST and is_never and (is_strange or is_early or where == OBD):
            continue
        sender = rest.partition(".")[0] if signal.why in (LOST, NOT_AGAIN) else ""
        groups.setdefault((where, sender, f"{signal.why}{' never' if is_never else ''}"), []).append(signal)
    for (where, sender, _), signals in groups.items():
        why = _why(where, sender, signals[0])
        if why:
            yield Gone(where, f"{_names(signals)}: unknown {_since(signals, picture.start_ns)}, because {why}")


def _why(where: str, sender: str, signal: SignalNow) -> str:
    """The reason and what to do; empty where a signal is unknown for a reason that is no loss."""
    match signal.why:
        case "lost" if where == OBD:
            return f"no answer to PID {sender} comes any more. {_ANSWERS}"
        case "lost" if signal.age_ns is None:
            return f'message "{sender}" has not come yet, though its bus lives. {_SENDER}'
        case "lost":
            return f'message "{sender}" no longer comes, though its bus lives. {_SENDER}'
        case _ if signal.why == NOT_AGAIN:
            return _not_again(where, sender, signal)
        case _ if signal.why == ADAPTER_DOWN:
            return f"the adapter is down. {_WIRED}"
        case _ if signal.why == BOX_DOWN:
            return f"the box is down. {_WIRED}"
        case _ if signal.why == UNREADABLE:
            return "the recording is damaged there. Look for another copy of it."
    return ""


def _not_again(where: str, sender: str, signal: SignalNow) -> str:
    """Why, and what to do, after the adapter has come back."""
    if where == OBD:
        return f"its adapter is back, but no answer to PID {sender} has come since. {_ANSWERS}"
    told = f'its adapter is back, but "{sender}" has not come since'
    if signal.max_age_ns is None:  # no cycle is known: such a message may rest for hours
        return (
            f"{told}. It may be sent on change only: operate it ({_thing(signal)}). Where that does not help: {_SENDER}"
        )
    return f"{told}. {_SENDER}"


def _thing(signal: SignalNow) -> str:
    """What there is to operate, by its role: "the door"; else its name."""
    return f"the {signal.role}" if signal.role else signal.name


def _names(signals: Sequence[SignalNow]) -> str:
    return ", ".join(signal.name for signal in signals)


def _since(signals: Sequence[SignalNow], start_ns: int) -> str:
    """How long they are unknown: in a replay the end is known too."""
    since = min((signal.since_ns for signal in signals if signal.since_ns is not None), default=None)
    ends = sorted(signal.until_ns for signal in signals if signal.until_ns is not None)
    if len(ends) < len(signals):
        return "from the start" if since is None else f"since {moment(since, start_ns)}"
    begin = "from the start" if since is None else f"from {moment(since, start_ns)}"
    first, last = ends[0], ends[-1]
    if last - first > ALIKE_NS:
        return f"{begin}, known again between {moment(first, start_ns)} and {moment(last, start_ns)}"
    length = "" if since is None else f" ({exact(last - since)})"
    return f"{begin} to {moment(last, start_ns)}{length}"


def strange(source: SourceNow, picture: Snapshot) -> str:
    """What to say of a bus that carries nothing of what its databases describe; empty where it does, or is too new."""
    if not source.described or source.heard_ns is None:
        return ""
    heard_ns = picture.t_ns - source.heard_ns
    is_whole = picture.mode != "live" and picture.loaded >= 1 and picture.t_ns >= picture.end_ns
    if heard_ns < STRANGE_NS and not is_whole:
        return ""
    names = _messages(picture.frames, source.name)
    others = names.count("")
    if not others or len(names) > others:
        return ""
    messages = f"None of the {source.described:,} messages" if source.described > 1 else "Not the one message"
    return (
        f"{messages} of its database was heard in {exact(heard_ns // 10**8 * 10**8)}, while "
        f"{counted(others, 'other identifier')} {'were' if others > 1 else 'was'}: probably the wrong bench file or "
        "database for this vehicle, or the plug of another bus. Compare the vehicle with the bench file, and open the "
        "right one; screen 2 lists what is heard."
    )


def _messages(table: FrameTable, channel: str) -> list[str]:
    """Names of the messages heard on a channel, "" for each identifier that has none; OBD left out."""
    if channel not in table.channels:
        return []
    place = table.channels.index(channel)
    rows = zip(
        table.channel.tolist(), table.identifier.tolist(), table.is_extended.tolist(), table.message, strict=True
    )
    return [name for at, number, extended, name in rows if at == place and not is_obd(number, bool(extended))]


def is_obd(number: int, extended: bool) -> bool:
    """Whether an identifier is one of OBD requests or answers."""
    if extended:
        return number == ALL_29 or number >> 16 == ANSWER_29 >> 16
    return ALL_11 <= number <= LAST_11
