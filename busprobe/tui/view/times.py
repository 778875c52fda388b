"""Times and amounts as a person reads them."""

from __future__ import annotations

SECOND = 1_000_000_000
LEAST_NS = 5_000
"""Shorter lengths of time are shown as none."""
_SIZES = ("B", "kB", "MB", "GB", "TB")


def clock(ns: int, digits: int = 1) -> str:
    """Time since the start: "1:02:03.4", "02:03.4"; minus before it."""
    unit = 10 ** (9 - digits)
    ticks = abs(ns) // unit
    whole, part = divmod(ticks, 10**digits)
    minutes, seconds = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    front = f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes:02}:{seconds:02}"
    return ("-" if ns < 0 and ticks else "") + front + (f".{part:0{digits}}" if digits else "")


def span(ns: int) -> str:
    """A length of time, in three digits or so: "20 ms", "1.2 s", "3 min 05 s"."""
    if abs(ns) < LEAST_NS:
        return "0 ms"
    if ns < 0:
        return "-" + span(-ns)
    if ns < 1_000_000:
        return f"{ns / 1e6:.2f} ms"
    if ns < 10_000_000:
        return f"{ns / 1e6:.1f} ms"
    if ns < SECOND:
        return f"{ns / 1e6:.0f} ms"
    if ns < 60 * SECOND:
        return f"{ns / SECOND:.1f} s"
    minutes, seconds = divmod(ns // SECOND, 60)
    if minutes < 60:
        return f"{minutes} min {seconds:02} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02} min"


def size(count: int) -> str:
    """An amount of bytes: "12.3 MB"."""
    amount = float(count)
    for unit in _SIZES:
        if amount < 1000 or unit == _SIZES[-1]:
            return f"{amount:.0f} {unit}" if unit == "B" or amount >= 100 else f"{amount:.1f} {unit}"
        amount /= 1000
    raise AssertionError("unreachable")
