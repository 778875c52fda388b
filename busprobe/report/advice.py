"""What is wrong on a bus or was lost, and what to try when nothing is heard, in order."""

from __future__ import annotations

from busprobe.health import Faults
from busprobe.report.quantities import counted
from busprobe.report.table import paragraph

WIRES = (
    "Wires: with everything off, measure between CAN high and CAN low. 60 Ω is right; 120 Ω: one terminator is "
    "missing; 40 Ω: there is one too many."
)
_GATEWAY = (
    "The port may sit behind a gateway which only answers requests. Then use the maker's upfitter connector, "
    "a body-bus tap or switch wires."
)
BIT_RATE = 'Bit rate: "busprobe listen-rate ADAPTER" goes through the usual ones.'
NOTHING_HEARD = (
    "Ignition on, then wait 10 s: with it off most buses sleep.",
    "Open a door: that wakes the body electronics.",
    BIT_RATE,
    WIRES,
    _GATEWAY,
)
"""120 Ω at each end of the pair: ISO 11898-2; the order is common practice, no source."""


def errors_text(errors: int, good: int) -> str:
    """Errors of a bus beside its good frames: what they are, and where there is none of these, what to do."""
    if good:
        return f"{counted(errors, 'error')} (error frames, unreadable pieces) among {counted(good, 'good frame')}"
    return (
        f"{counted(errors, 'error frame')} and not one good frame: a wrong bit rate, or a wire that is off. "
        "busprobe listen-rate finds the rate by listening only."
    )


def fault_text(fault: Faults) -> str:
    """What went wrong on an input box, of one kind: how often, the last one, and what to do."""
    which = "" if fault.count == 1 else ", the last"
    return f"{counted(fault.count, fault.kind)}{which}: {fault.last} {fault.hint}"


def overrun_text(lost: int, *, is_recorded: bool) -> str:
    """Records that logic could not take in."""
    kept = "; they are in the recording, flagged late" if is_recorded else ""
    return f"{counted(lost, 'record')} lost: they came faster than they could be taken in{kept}."


def nothing_heard_lines(*, indent: int = 0, rates_tried: bool = False) -> list[str]:
    """The advice as numbered lines. rates_tried: the bit rates have been gone through already."""
    lines = ["What to try, in this order:"]
    steps = [step for step in NOTHING_HEARD if not (rates_tried and step is BIT_RATE)]
    for number, step in enumerate(steps, 1):
        first, *rest = paragraph(step, width=76 - indent)
        lines += [f"  {number}. {first}", *(f"     {line}" for line in rest)]
    return [" " * indent + line for line in lines]
