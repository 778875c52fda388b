"""Values as text, with as many decimals as their smallest step needs, always the same number."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil, log10

from busprobe.decode import pids
from busprobe.decode.layout import SignalLayout
from busprobe.decode.quantity import Quantity
from busprobe.engine.signal_plan import LineTap, MessageTap, SignalPlan, Source
from busprobe.timeline import TRUE, Timeline

MOST_EXACT = 3
"""A step with no more decimals than this is shown exactly; a finer or odd one to its own size."""
MILLIVOLT = 0.001


def decimals(step: float, offset: float = 0.0) -> int:
    """Decimals of values that are whole steps from an offset: 0 for 1, 2 for 0.25, 3 for 1/256."""
    return max(_of_step(abs(step)), _exact(offset) or 0)


def decimals_of(signal: SignalPlan) -> int | None:
    """Decimals of a signal's values, enough for all of its sources; None where a step is not known."""
    found = [_of_source(source) for source in signal.sources]
    known = [one for one in found if one is not None]
    return max(known) if len(known) == len(found) else None


def layout_decimals(layout: SignalLayout) -> int | None:
    """Decimals of a message's signal; None for a floating-point one."""
    return None if layout.is_float else decimals(layout.scale, layout.offset)


def quantity_decimals(quantity: Quantity) -> int | None:
    """Decimals of a quantity of OBD answers; None where it is no scaled number."""
    if quantity.meaning is not None:
        return None
    return decimals(quantity.scale.factor / quantity.scale.divisor, quantity.scale.offset)


def number_text(value: float, places: int | None) -> str:
    """A number with so many decimals; None: with six digits at most."""
    return f"{value:z.6g}" if places is None else f"{value:z.{places}f}"


def _of_source(source: Source) -> int | None:
    tap = source.tap
    if isinstance(tap, LineTap):
        step, offset = MILLIVOLT, 0.0
    elif isinstance(tap, MessageTap):
        if tap.layout.is_float:
            return None
        step, offset = tap.layout.scale, tap.layout.offset
    else:
        quantity = pids.find(tap.name)
        if quantity is None or quantity.meaning is not None:
            return None
        step, offset = quantity.scale.factor / quantity.scale.divisor, quantity.scale.offset
    return decimals(step * source.scale, offset * source.scale + source.offset)


def _of_step(step: float) -> int:
    if not step:
        return 0
    exact = _exact(step)
    return max(ceil(-log10(step)), 0) if exact is None else exact


def _exact(number: float) -> int | None:
    """Decimals that say a number exactly; None: more than MOST_EXACT."""
    fits = (places for places in range(MOST_EXACT + 1) if abs(round(number, places) - number) <= 1e-9 * abs(number))
    return next(fits, None)


def text_of(
    timeline: Timeline, t_ns: int, texts: Mapping[float, str], unit: str | None, why: str, places: int | None = None
) -> str:
    """What a signal said at a time, for a person. why: the reason where it is unknown. places: decimals, if known."""
    code = timeline.code_at(t_ns)
    if code > TRUE:
        return f"unknown ({why})" if why else "unknown"
    if timeline.value is None:
        return "on" if code == TRUE else "off"
    value = timeline.value_at(t_ns)
    if value in texts:
        return texts[value]
    return f"{number_text(value, places)} {unit}" if unit else number_text(value, places)
