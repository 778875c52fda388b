"""How long a poll takes on the wire, and the refusal of a period that is shorter.

    | request  | gap | answer | gap |      gap: at least 3.5 characters of silence

MODBUS over Serial Line, Specification and Implementation Guide V1.02, section 2.5.1.1: above
19200 baud the gap is fixed at 1.75 ms. 8 inputs are 8 + 6 characters of 11 bits and two gaps:
24.1 ms at 9600 baud, 4.8 ms at 115200.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from busprobe.bench.model import InputBox
from busprobe.bench.section import error_at
from busprobe.bench.units import duration_text
from busprobe.errors import BenchError
from busprobe.sources.box_options import SerialSettings

FIXED_GAP_NS = 1_750_000
FIXED_GAP_ABOVE_BAUD = 19200
SECOND_NS = 1_000_000_000
MS_NS = 1_000_000


@dataclass(frozen=True)
class Exchange:
    """One Modbus request with its answer."""

    what: str
    """What it asks for, as "8 inputs"."""
    request: int
    """Characters."""
    answer: int


def short_ms(ns: int) -> str:
    """A duration to three digits, in ms up to a second: "24.1 ms"."""
    return f"{ns / MS_NS:.3g} ms" if ns < SECOND_NS else duration_text(round(ns / MS_NS) * MS_NS)


def characters_ns(count: int, settings: SerialSettings) -> int:
    return count * settings.bits * SECOND_NS // settings.baudrate


def gap_ns(settings: SerialSettings) -> int:
    """Silence that ends a Modbus frame."""
    if settings.baudrate > FIXED_GAP_ABOVE_BAUD:
        return FIXED_GAP_NS
    return 7 * settings.bits * SECOND_NS // (2 * settings.baudrate)


def exchange_ns(exchange: Exchange, settings: SerialSettings) -> int:
    return characters_ns(exchange.request + exchange.answer, settings) + 2 * gap_ns(settings)


def refuse_short_period(box: InputBox, exchanges: Sequence[Exchange], settings: SerialSettings) -> None:
    """Raises BenchError, with the arithmetic, where one poll takes longer than the period of the box."""
    total = sum(exchange_ns(exchange, settings) for exchange in exchanges)
    if total <= box.period_ns:
        return
    what = " and ".join(exchange.what for exchange in exchanges)
    sums = "; ".join(_sum(exchange, settings) for exchange in exchanges)
    verb = "takes" if len(exchanges) == 1 and what.startswith("1 ") else "take"
    reason = f"{what} {verb} {short_ms(total)} at {settings.baudrate} baud, time in the box apart"
    raise _too_short(box, reason, sums, total, 2 * FIXED_GAP_NS * len(exchanges))


def _sum(exchange: Exchange, settings: SerialSettings) -> str:
    gap = "1.75 ms" if gap_ns(settings) == FIXED_GAP_NS else "3.5 characters"
    wire = characters_ns(exchange.request + exchange.answer, settings)
    return (
        f"{exchange.what}: {exchange.request} + {exchange.answer} characters of {settings.bits} bits are "
        f"{short_ms(wire)}, two gaps of {gap} are {short_ms(2 * gap_ns(settings))}"
    )


def refuse_short_line_period(box: InputBox, characters: int, settings: SerialSettings) -> None:
    """The same for a box that prints one line of so many characters a sample."""
    total = characters_ns(characters, settings)
    if total > box.period_ns:
        sums = f"{characters} characters of {settings.bits} bits are {short_ms(total)}"
        raise _too_short(box, f"a line takes {short_ms(total)} at {settings.baudrate} baud", sums, total, 0)


def _too_short(box: InputBox, reason: str, sums: str, total: int, gaps_ns: int) -> BenchError:
    """gaps_ns: what remains of `total` however high the baud rate."""
    least = duration_text(-(-total // MS_NS) * MS_NS)
    faster = ', or "baudrate" higher where the box can' if gaps_ns < box.period_ns else ""
    return error_at(
        box.origin,
        f'The input box "{box.name}" cannot be read every {duration_text(box.period_ns)}: {reason}.',
        f'({sums}.) Make "period" at least "{least}"{faster}.',
    )
