"""Times, counts and shares as a person reads them."""

from __future__ import annotations

from datetime import UTC, datetime

from busprobe import errors

counted = errors.counted

_EPOCH_IS_PLAUSIBLE_NS = 631_152_000_000_000_000
"""1990: stamps before it do not count from the epoch."""


def exact(ns: int) -> str:
    """A duration to 1 µs, from 1 s on to 1 ms: "150 ms", "412.125 ms", "1.25 s", "29 min 30 s"."""
    us = round(abs(ns) / 1e3)
    sign = "-" if ns < 0 and us else ""
    if us < 1_000_000:
        return f"{sign}{_trim(us / 1e3)} ms"
    ms = round(us / 1e3)
    if ms < 120_000:
        return f"{sign}{_trim(ms / 1e3)} s"
    minutes, rest = divmod(ms, 60_000)
    hours, minutes = divmod(minutes, 60)
    parts = (
        f"{hours} h" if hours else "",
        f"{minutes} min" if minutes else "",
        f"{_trim(rest / 1e3)} s" if rest else "",
    )
    return sign + " ".join(part for part in parts if part)


def rounded(ns: int | None) -> str:
    """A duration to three digits: "9.98 ms", "20.0 ms", "1.25 s"; empty for None."""
    if ns is None:
        return ""
    sign, size = ("-" if ns < 0 else ""), abs(ns)
    if size < 999_500:
        return f"{sign}{size / 1e3:.3g} µs" if size else "0 ms"
    value, unit = (size / 1e6, "ms") if size < 999_500_000 else (size / 1e9, "s")
    digits = 2 if value < 9.995 else 1 if value < 99.95 else 0
    return f"{sign}{value:.{digits}f} {unit}"


def moment(t_ns: int, start_ns: int) -> str:
    """A time of the recording: "73.412 s"."""
    return f"{round((t_ns - start_ns) / 1e6) / 1e3:.3f} s"


def wall(t_ns: int) -> str | None:
    """Date and time in UTC, None where the stamps do not count from the epoch."""
    if t_ns < _EPOCH_IS_PLAUSIBLE_NS:
        return None
    return datetime.fromtimestamp(t_ns // 1_000_000_000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def count(number: int) -> str:
    """A count with thousands marked: "1,234"."""
    return f"{number:,}"


def times(number: int) -> str:
    """How often: "once", "2 times"."""
    return "once" if number == 1 else f"{number:,} times"


def percent(share: float | None) -> str:
    """A share of 1 in per cent: "12.3 %"; empty for None."""
    return "" if share is None else f"{100 * share:.1f} %"


def identifier(number: int, extended: bool) -> str:
    """An identifier in hex, 3 digits for 11 bits, 8 for 29."""
    return f"{number:08X}" if extended else f"{number:03X}"


def value(number: float | str) -> str:
    """A value with six digits at most, a text as it is."""
    return number if isinstance(number, str) else f"{number:z.6g}"


def _trim(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")
