"""The two lines above every screen: vehicle, recording, time; failed checks and newest trigger."""

from __future__ import annotations

from busprobe.errors import counted
from busprobe.results import TriggerEntry
from busprobe.session.snapshot import RecorderNow, Snapshot
from busprobe.tui.view.spans import Line, Span, Tone, fit, width_of
from busprobe.tui.view.times import clock, size
from busprobe.tui.view.values import entry_sign

NARROW = 60
"""Below this width the number of failed checks is said in short."""


def headline(picture: Snapshot, width: int, *, held: bool = False) -> tuple[Line, Line]:
    """Both lines, each exactly `width` wide; what must stay in view stands at the right."""
    return _first(picture, width, held=held), _second(picture, width)


def _first(picture: Snapshot, width: int, *, held: bool) -> Line:
    right: list[Span] = []
    if held:
        right += [Span("HELD", Tone.NOTE), Span("  ")]
    right += [
        *_recording(picture, short=width < NARROW),
        Span("  "),
        Span(clock(picture.t_ns - picture.start_ns), Tone.STRONG),
        Span(" "),
    ]
    title = [] if picture.mode == "live" else [Span(picture.title), Span(" · ", Tone.DIM)]
    vehicle = Span(picture.vehicle or "no vehicle name", Tone.STRONG)
    return _both([Span(" "), *title, vehicle], right, width)


def _recording(picture: Snapshot, *, short: bool) -> list[Span]:
    if picture.mode != "live":
        if picture.loaded < 1:
            return [Span(f"REPLAY, {picture.loaded:.0%} read", Tone.WARN)]
        return [Span("REPLAY", Tone.NOTE)]
    state = recorder_state(picture.recorder, short=short)
    return [state] if short and picture.recorder is not None else [Span("LIVE", Tone.ON), Span("  "), state]


def recorder_state(recorder: RecorderNow | None, *, short: bool = False) -> Span:
    """Whether a recording goes on, in few words."""
    if recorder is None:
        return Span("○ no REC" if short else "○ not recording", Tone.DIM)
    if recorder.failure:
        return Span("✗ REC over" if short else "✗ recording stopped", Tone.BAD)
    if recorder.is_closing:
        return Span("○ REC closing" if short else "○ recording is being closed", Tone.DIM)
    return Span(f"● REC {size(recorder.bytes)}", Tone.GOOD)


def _second(picture: Snapshot, width: int) -> Line:
    left = [Span(" "), *failed_checks(picture, short=width < NARROW)]
    if picture.failure:
        return tuple(fit([*left, Span("  "), Span(f"✗ {picture.failure}", Tone.BAD)], width))
    down = sum(not source.is_up for source in picture.sources)
    if down:
        left += [Span("  "), Span(f"✗ {down} source{'s' if down > 1 else ''} down", Tone.BAD)]
    return _both(left, [*newest_trigger(picture), Span(" ")], width)


def failed_checks(picture: Snapshot, *, short: bool = False) -> tuple[Span, ...]:
    """How many, in a replay up to the instant: "✗ 2 of 19 checks failed, 1 undecided"; short: "✗ 2 failed"."""
    if not picture.checks:
        return (Span("no checks", Tone.DIM),)
    sign, tone = ("✗", Tone.BAD) if picture.failed else ("○", Tone.PLAIN)
    of = "" if short else f" of {counted(len(picture.checks), 'check')}"
    when = "" if short or picture.mode == "live" else " by now"
    told = Span(f"{sign} {picture.failed}{of} failed{when}", tone)
    return (told, Span(f", {picture.undecided} undecided", Tone.WARN)) if picture.undecided and not short else (told,)


def newest_trigger(picture: Snapshot) -> tuple[Span, ...]:
    """Time and name of the trigger that happened last."""
    entry = next((e for e in reversed(picture.triggers) if isinstance(e, TriggerEntry)), None)
    if entry is None:
        return (Span("no trigger yet", Tone.DIM),)
    return entry_sign(entry), Span(clock(entry.t_ns - picture.start_ns), Tone.DIM), Span(" "), Span(entry.name)


def _both(left: list[Span], right: list[Span], width: int) -> Line:
    """`left` gives way to `right`, but keeps a quarter of the width."""
    room = max(width - width_of(right) - 1, width // 4)
    room = min(room, width)
    front = fit(left, room)
    if width - room <= 1:
        return tuple(front)
    return (*front, Span(" "), *fit(right, width - room - 1, "right"))
