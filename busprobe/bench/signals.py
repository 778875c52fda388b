"""Signals of a bench file: where each comes from, or from which others it is made."""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches
from types import MappingProxyType

from busprobe.bench.model import Bench, Bus, Derived, InputBox, Signal, Tap, Text
from busprobe.bench.names import PID, name_fault
from busprobe.bench.section import Section, error_at
from busprobe.bench.syntax import is_event, parse
from busprobe.bench.units import UnitError, normalise, quantity
from busprobe.errors import nearest

SIGNAL_KEYS = ("from", "role", "unit", "values", "max_age", "unknown")
DERIVED_KEYS = ("when", "above", "below_again", "role")

ROLES = ("ignition", "brake", "park brake", "gear", "turn", "door", "speed", "battery")
"""Roles of which the guided walk knows how they are operated, in its order; others may be named too."""
CLOSE = 0.8
"""How much alike a role and a known one are of which it is a slip of the pen."""

_ROLE = re.compile(r"[a-z][a-z0-9]*(?:[ _-][a-z0-9]+)*")


def read_signals(
    root: Section, buses: Sequence[Bus], boxes: Sequence[InputBox]
) -> tuple[tuple[Signal, ...], tuple[Derived, ...]]:
    """Signals with a source of their own, and those made from others, both in file order."""
    table = root.table("signals", "[signals]")
    signals: list[Signal] = []
    derived: list[Derived] = []
    for name, section in table.entries() if table else ():
        if fault := name_fault(name, "signal"):
            raise section.error_at_key(fault)
        if "from" in section and "when" in section:
            raise section.error_at_key(f'{section.title} has both "from" and "when"; it can have only one.')
        if "from" in section:
            signals.append(_read_signal(name, section, buses, boxes))
        elif "when" in section:
            derived.append(_read_derived(name, section))
        else:
            section.refuse_unknown(SIGNAL_KEYS + DERIVED_KEYS)
            raise section.error_at_key(f'{section.title} has neither "from" nor "when".')
    return tuple(signals), tuple(derived)


def _read_signal(name: str, section: Section, buses: Sequence[Bus], boxes: Sequence[InputBox]) -> Signal:
    section.refuse_unknown(SIGNAL_KEYS)
    texts = section.texts("from")
    if not texts:
        raise section.error(f'"from" of {section.title} is empty.', "from")
    return Signal(
        name=name,
        taps=tuple(_read_tap(section, number, text, buses, boxes) for number, text in enumerate(texts)),
        role=_read_role(section),
        unit=normalise(section.text("unit")),
        values=_read_values(section),
        unknown_raw=section.wholes("unknown"),
        max_age_ns=section.duration("max_age", above_zero=True),
        origin=section.origin(),
    )


def _read_tap(section: Section, number: int, text: str, buses: Sequence[Bus], boxes: Sequence[InputBox]) -> Tap:
    """One entry of `from`, split at its dots."""
    owner, *rest = text.split(".")
    lines = {box.name: [line.name for line in box.lines] for box in boxes}
    owners = [*(bus.name for bus in buses), *lines, "obd"]
    if owner not in owners:
        known = nearest(owner, owners)
        message = f'"{text}" comes from no bus or input box of this file: there is no "{owner}".{known}'
    elif owner == "obd":
        if len(rest) in (1, 2) and all(rest) and PID.fullmatch(rest[0]):
            return Tap("obd", owner, rest[0].upper(), "".join(rest[1:]))
        message = f'"{text}" is no value of a PID: write it like "obd.0D" or "obd.14.voltage".'
    elif owner in lines:
        if len(rest) == 1 and rest[0] in lines[owner]:
            return Tap("line", owner, rest[0], "")
        line = ".".join(rest)
        message = f'The input box "{owner}" has no line "{line}".{nearest(line, lines[owner])}'
    else:
        if len(rest) == 2 and all(rest):
            return Tap("message", owner, rest[0], rest[1])
        message = f'"{text}" names no signal: write bus, message and signal, such as "{owner}.WheelSpeed.VehicleSpeed".'
    raise section.item_error("from", number, message)


def _read_derived(name: str, section: Section) -> Derived:
    section.refuse_unknown(DERIVED_KEYS)
    when = section.must_expression("when")
    if is_event(parse(when)):
        raise section.error(f"{section.title} is made from an event; a signal must last.", "when")
    above, below_again = _read_level(section, "above"), _read_level(section, "below_again")
    if below_again and not above:
        raise section.key_error(f'{section.title} has "below_again" without "above".', "below_again")
    return Derived(name, when, above, below_again, _read_role(section), section.origin())


def _read_level(section: Section, key: str) -> Text | None:
    """A quantity in quotes, or a bare number."""
    value = section.data.get(key)
    if isinstance(value, int | float) and not isinstance(value, bool):
        level: Text | None = Text(f"{value}", section.origin(key))
    else:
        level = section.expression(key)
    if level:
        try:
            quantity(level.text)
        except UnitError as error:
            raise section.error(str(error), key) from None
    return level


def _read_role(section: Section) -> str | None:
    role = section.text("role")
    if role is not None and not _ROLE.fullmatch(role):
        raise section.error(f'"{role}" is no role: write words in lower case, such as "gear" or "rear door".', "role")
    return role


def refuse_mistyped_roles(bench: Bench) -> None:
    """Raise BenchError for the first role that is nearly a known one.

    Not a part of reading: a recording that holds a bench file with such a role can be opened.
    """
    signals: tuple[Signal | Derived, ...] = (*bench.signals, *bench.derived)
    for signal in signals:
        if signal.role is not None and (meant := _meant_role(signal.role)):
            message = f'The role "{signal.role}" of "{signal.name}" is none of its own. Nearest known name: "{meant}".'
            raise error_at(signal.origin, message, f"Roles: {', '.join(ROLES)}; or words of your own.")


def _meant_role(role: str) -> str | None:
    """The known role that this one is a slip of the pen for; "rear door" is one of its own."""
    words = role.replace("-", " ").replace("_", " ")
    if words in ROLES or set(words.split()) & set(ROLES):
        return None
    return next(iter(get_close_matches(words, ROLES, n=1, cutoff=CLOSE)), None)


def _read_values(section: Section) -> MappingProxyType[str, str] | None:
    table = section.table("values", f'"values" of {section.title}')
    if table is None:
        return None
    return MappingProxyType({label: table.must_text(label) for label in table.data})
