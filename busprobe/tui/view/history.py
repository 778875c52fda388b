"""The recent past of a signal in one line of blocks."""

from __future__ import annotations

import re
from math import isfinite

from busprobe.session.strips import UNSEEN, Strip
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN
from busprobe.tui.view.spans import Cell, Span, Tone
from busprobe.tui.view.values import ASLEEP_SIGN, UNKNOWN_SIGN, UNSEEN_SIGN

_BARS = "▁▂▃▄▅▆▇█"
_SIGNS = {FALSE: _BARS[0], TRUE: _BARS[-1], UNKNOWN: UNKNOWN_SIGN, ASLEEP: ASLEEP_SIGN, UNSEEN: UNSEEN_SIGN}
_RUNS = re.compile(r"[?z·]+|[^?z·]+")


def history(strip: Strip | None, width: int) -> Cell:
    """The newest `width` slices, newest at the right; "?" unknown, "z" asleep, "·" not seen yet."""
    if strip is None or width <= 0:
        return ()
    runs = _RUNS.findall(bars(strip)[-width:])
    return tuple(Span(run, Tone.WARN if run[0] in "?z·" else Tone.ON) for run in runs)


def bars(strip: Strip) -> str:
    """One sign a slice: low and high for a condition, eight heights between least and most for a quantity."""
    if strip.value is None:
        return "".join([_SIGNS[code] for code in strip.code])
    known = [value for code, value in zip(strip.code, strip.value, strict=True) if code == TRUE and isfinite(value)]
    low = min(known, default=0.0)
    scale = (len(_BARS) - 1) / ((max(known, default=0.0) - low) or 1.0)
    return "".join(
        [
            _SIGNS[code] if code > TRUE else _BARS[round((value - low) * scale)] if isfinite(value) else UNKNOWN_SIGN
            for code, value in zip(strip.code, strip.value, strict=True)
        ]
    )
