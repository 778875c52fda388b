"""The recent past of a signal in one line of blocks."""

from __future__ import annotations

import numpy as np

from busprobe.session.snapshot import Strip
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN
from busprobe.tui.view.spans import Cell, Span, Tone

_BARS = "▁▂▃▄▅▆▇█"
_SIGNS = {FALSE: "▁", TRUE: "█", UNKNOWN: "?", ASLEEP: "z"}
_TONES = {"▁": Tone.DIM, "?": Tone.WARN, "z": Tone.DIM}


def history(strip: Strip | None, width: int) -> Cell:
    """The newest `width` slices, newest at the right; "?" unknown, "z" asleep."""
    if strip is None or width <= 0:
        return ()
    return _toned(bars(strip)[-width:])


def bars(strip: Strip) -> str:
    """One sign a slice: low and high for a condition, eight heights between least and most for a quantity."""
    if strip.value is None:
        return "".join(_SIGNS[int(code)] for code in strip.code)
    value = strip.value
    known = np.isfinite(value) & (strip.code == TRUE)
    if not known.any():
        return "".join("z" if code == ASLEEP else "?" for code in strip.code)
    low, high = float(value[known].min()), float(value[known].max())
    step = (high - low) / (len(_BARS) - 1)
    heights = np.zeros(len(value), np.int64)
    if step > 0:
        heights[known] = np.rint((value[known] - low) / step).astype(np.int64)
    return "".join(
        _BARS[height] if is_known else ("z" if code == ASLEEP else "?")
        for height, is_known, code in zip(heights, known, strip.code, strict=True)
    )


def _toned(text: str) -> Cell:
    """Neighbours of one tone as one span."""
    spans: list[Span] = []
    for sign in text:
        tone = _TONES.get(sign, Tone.ON)
        if spans and spans[-1].tone is tone:
            spans[-1] = Span(spans[-1].text + sign, tone)
        else:
            spans.append(Span(sign, tone))
    return tuple(spans)
