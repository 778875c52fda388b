"""The recent past of a signal in one line of blocks."""

from __future__ import annotations

import re

import numpy as np

from busprobe.session.snapshot import Strip
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN
from busprobe.tui.view.spans import Cell, Span, Tone
from busprobe.tui.view.values import ASLEEP_SIGN, UNKNOWN_SIGN, UNSEEN_SIGN

_BARS = "▁▂▃▄▅▆▇█"
_SIGNS = np.array([*_BARS, UNKNOWN_SIGN, ASLEEP_SIGN, UNSEEN_SIGN])
_UNKNOWN, _ASLEEP, _UNSEEN = len(_BARS), len(_BARS) + 1, len(_BARS) + 2
_OF_CODE = np.zeros(4, np.int64)
_OF_CODE[[FALSE, TRUE, UNKNOWN, ASLEEP]] = 0, len(_BARS) - 1, _UNKNOWN, _ASLEEP
_RUNS = re.compile(r"[?z·]+|[^?z·]+")


def history(strip: Strip | None, width: int) -> Cell:
    """The newest `width` slices, newest at the right; "?" unknown, "z" asleep, "·" not seen yet."""
    if strip is None or width <= 0:
        return ()
    runs = _RUNS.findall(bars(strip)[-width:])
    return tuple(Span(run, Tone.WARN if run[0] in "?z·" else Tone.ON) for run in runs)


def bars(strip: Strip) -> str:
    """One sign a slice: low and high for a condition, eight heights between least and most for a quantity."""
    sign = _OF_CODE[strip.code]
    if strip.value is not None:
        value = strip.value
        known = np.isfinite(value) & (strip.code == TRUE)
        sign[~known & (sign < _UNKNOWN)] = _UNKNOWN
        if known.any():
            low, high = value[known].min(), value[known].max()
            step = (high - low) / (len(_BARS) - 1) or 1.0
            sign[known] = np.rint((value[known] - low) / step)
    sign[: strip.unseen] = _UNSEEN
    return "".join(_SIGNS[sign].tolist())
