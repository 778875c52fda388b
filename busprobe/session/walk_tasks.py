"""What the guided walk asks for: one task for each signal that has a role in the bench file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from busprobe.bench.signals import ROLES
from busprobe.session.snapshot import SignalNow


class Goal(Enum):
    """What has to be seen."""

    SWITCH = "switch"
    """On and off again, a number of times."""
    POSITIONS = "positions"
    """One label after the other."""
    MOTION = "motion"
    """A quantity that rises from zero and comes back."""
    COMPARE = "compare"
    """A value that a person finds to agree with a meter."""


@dataclass(frozen=True)
class Task:
    """One action to ask for."""

    signal: str
    role: str
    prompt: str
    """"Press and release the brake pedal, three times."; {position} stands for the one asked for."""
    on_means: str = ""
    """When it must say the first of its `switch_words`: "the pedal is pressed"."""
    goal: Goal = Goal.SWITCH
    times: int = 3
    rests_on: bool = False
    """Whether it says ON before and after the action."""
    positions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


_ORDER = ROLES
"""Roles in the order asked; others follow."""
_PLACES = (("p", "park"), ("r", "reverse"), ("n", "neutral"), ("d", "drive"))
"""Labels of the selector in the order asked: common practice, no source."""
_STILL = "Foot brake held, park brake on, wheels chocked, nobody in front of or behind the vehicle."
_EXHAUST = "Extract the exhaust while the engine runs."
_WHEELS = "Driven wheels never in gear on the floor. By hand: vehicle raised and secured, ignition on, engine off."
_ROLLING = "A second person drives; nobody operates this tool while driving."


def switch_words(role: str | None) -> tuple[str, str]:
    """The words for on and off of a signal with a role, wherever it is shown large or asked for."""
    return ("OPEN", "SHUT") if role == "door" else ("ON", "OFF")


def tasks(signals: Sequence[SignalNow]) -> tuple[Task, ...]:
    """A task for each signal with a role, in a sensible order."""
    with_role = [signal for signal in signals if signal.role]
    return tuple(_task(signal) for signal in sorted(with_role, key=_place))


def _place(signal: SignalNow) -> int:
    kind = _kind(signal.role or "")
    return _ORDER.index(kind) if kind in _ORDER else len(_ORDER)


def _kind(role: str) -> str:
    """The known role that a role is one of: "rear door" is a door."""
    words = role.replace("-", " ").replace("_", " ")
    if words in _ORDER:
        return words
    return next((known for known in ("door", "turn") if known in words.split()), words)


def _task(signal: SignalNow) -> Task:
    role = signal.role or ""
    name = signal.name.replace("_", " ")
    match _kind(role):
        case "ignition" if is_switch(signal):
            prompt = "Switch the ignition off, wait two seconds, switch it on again."
            return Task(signal.name, role, prompt, "the ignition is on", times=1, rests_on=True)
        case "brake" if is_switch(signal):
            return Task(signal.name, role, "Press and release the brake pedal, three times.", "the pedal is pressed")
        case "park brake" if is_switch(signal):
            prompt = "Release and apply the park brake, twice."
            cautions = ("Wheels chocked and foot brake held.",)
            return Task(
                signal.name, role, prompt, "the park brake is applied", times=2, rests_on=True, cautions=cautions
            )
        case "gear" if signal.labels:
            return _gear(signal, role)
        case "turn" if signal.labels and not is_switch(signal):
            return Task(
                signal.name, role, "Turn signal lever: {position}.", goal=Goal.POSITIONS, positions=_turns(signal)
            )
        case "door" if is_switch(signal):
            return Task(
                signal.name, role, f"Open and shut the {name}, three times. Begin with it shut.", "the door is open"
            )
        case "speed" if signal.unit is not None:
            prompt = "Roll forward at walking pace and stop, or spin the wheel by hand and let it come to rest."
            return Task(signal.name, role, prompt, goal=Goal.MOTION, cautions=(_ROLLING, _WHEELS))
    return _other(signal, role, name)


def _other(signal: SignalNow, role: str, name: str) -> Task:
    if is_switch(signal):
        prompt = f"Switch {name} on and off, three times. Begin with it off."
        return Task(signal.name, role, prompt, f"{name} is on")
    if signal.labels:
        prompt = f"Bring {name} to {{position}}."
        return Task(signal.name, role, prompt, goal=Goal.POSITIONS, positions=signal.labels)
    prompt = f"Measure {name} with a meter: does the value agree?"
    return Task(signal.name, role, prompt, goal=Goal.COMPARE)


def is_switch(signal: SignalNow) -> bool:
    """Whether a signal with a role is on or off by its nature, whatever its labels."""
    return signal.is_condition or (signal.unit is None and len(signal.labels) in (0, 2) and signal.role != "gear")


def _gear(signal: SignalNow, role: str) -> Task:
    by_name = {label.casefold(): label for label in signal.labels}
    found = [by_name[name] for names in _PLACES for name in names if name in by_name]
    places = tuple(found or signal.labels)
    prompt = "Foot brake held: select {position} and stay there for a second."
    cautions = (_STILL, _EXHAUST)
    return Task(signal.name, role, prompt, goal=Goal.POSITIONS, positions=(*places, places[0]), cautions=cautions)


def _turns(signal: SignalNow) -> tuple[str, ...]:
    """Sides first, then back to the middle."""
    sides = [label for label in signal.labels if any(side in label.casefold() for side in ("left", "right"))]
    middle = [label for label in signal.labels if label.casefold() in ("off", "none", "centre", "center", "middle")]
    return (*sides, *middle[:1]) if sides else signal.labels
