"""What a signal says, in words and shapes: on, off and unknown never look alike."""

from __future__ import annotations

from busprobe.results import Logged, LogLine
from busprobe.session.ages import age_text
from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.timeline import ASLEEP, FALSE, TRUE
from busprobe.tui.view.spans import Cell, Span, Tone, cell
from busprobe.tui.view.times import SECOND, clock

ON_SIGN, OFF_SIGN, UNKNOWN_SIGN, ASLEEP_SIGN, UNSEEN_SIGN = "●", "○", "?", "z", "·"


def entry_sign(entry: Logged) -> Span:
    """Before a line of the trigger log; the shapes are those of the replay bar, and of sources on Health."""
    if isinstance(entry, LogLine):
        return Span(f"{ASLEEP_SIGN} ", Tone.DIM) if entry.kind == "asleep" else Span(f"{ON_SIGN} ", Tone.ON)
    return Span("▾ ", Tone.KEY) if entry.is_marker else Span("◆ ", Tone.NOTE)


def excuse_sign(signal: SignalNow) -> str:
    """Of a signal that is unknown without fault: its bus sleeps, or nothing of it was seen yet."""
    return UNSEEN_SIGN if signal.since_ns is None else ASLEEP_SIGN


def value_cell(signal: SignalNow) -> Cell:
    """"● on", "○ off", "? unknown (lost)", "z unknown (asleep)", "12.4 km/h"."""  # fmt: skip
    if signal.code == FALSE:
        return cell(f"{OFF_SIGN} {signal.text}")
    if signal.code == TRUE:
        return (
            cell(f"{ON_SIGN} {signal.text}", Tone.ON) if signal.is_condition else cell(f"  {signal.text}", Tone.STRONG)
        )
    if signal.code == ASLEEP:
        return cell(f"{excuse_sign(signal)} {signal.text}", Tone.DIM)
    return cell(f"{UNKNOWN_SIGN} {signal.text}", Tone.WARN)


def since_cell(signal: SignalNow, picture: Snapshot) -> Cell:
    """When it got this value, in time of the recording."""
    if signal.since_ns is None:
        return cell("–", Tone.DIM)
    return cell(clock(signal.since_ns - picture.start_ns), Tone.DIM)


def fresh_cell(signal: SignalNow) -> Cell:
    """Age of the newest sample; "old" once older than allowed, "made" for derived ones."""
    if signal.age_ns is None:
        return cell("not seen" if signal.since_ns is None and signal.max_age_ns is not None else "–", Tone.DIM)
    if signal.max_age_ns is not None and signal.age_ns > signal.max_age_ns:
        return Span("old ", Tone.WARN), Span(calm_age(signal.age_ns), Tone.WARN)
    return cell(calm_age(signal.age_ns), Tone.DIM)


def calm_age(ns: int) -> str:
    """In steps of a tenth of a second: a display that moves without need cannot be read."""
    step = SECOND // 10
    return "<0.1 s" if ns < step else age_text(ns // step * step)
