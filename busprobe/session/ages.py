"""How old something is, as a person reads it: one form on every screen."""

from __future__ import annotations

_SECOND = 1_000_000_000
_MINUTE, _HOUR = 60 * _SECOND, 3600 * _SECOND


def age_text(ns: int) -> str:
    """An age in one unit, never longer than six signs: "80 ms", "1.8 s", "45.3 s", "3 min", "27 h"."""
    ns = max(ns, 0)
    if (ms := round(ns / 1e6)) < 1000:
        return f"{ms} ms"
    if (tenths := round(ns / 1e8)) < 600:
        return f"{tenths / 10:.1f} s"
    return f"{max(ns // _MINUTE, 1)} min" if ns < _HOUR else f"{ns // _HOUR} h"
