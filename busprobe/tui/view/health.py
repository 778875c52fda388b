"""Rows of the health screen: sources, recording, problems."""

from __future__ import annotations

from textwrap import wrap

from busprobe.errors import counted
from busprobe.session.attention import HIGH_LOAD, LEAST_FREE, Wanted, attention
from busprobe.session.snapshot import RecorderNow, Snapshot, SourceNow
from busprobe.sources.pace import BOUNCE_NS
from busprobe.sources.wire_time import short_ms
from busprobe.tui.view.requests import request_lines
from busprobe.tui.view.spans import Cell, Column, Line, Row, Span, Tone, cell, matches, share
from busprobe.tui.view.times import size, span

SOURCE_COLUMNS = (
    Column("Source", 10, grow=1),
    Column("State", 14, grow=2),
    Column("Per s", 7, "right", drop=1),
    Column("Load", 6, "right", drop=2),
    Column("Errors", 6, "right", drop=2),
    Column("Lost", 6, "right", drop=2),
    Column("Gaps", 5, "right", drop=3),
    Column("Glitches", 8, "right", drop=4),
    Column("Bounce", 7, "right", drop=4),
    Column("Clock ±", 8, "right", drop=5),
    Column("Period", 8, "right", drop=6),
    Column("Records", 11, "right", drop=7, minor=True),
    Column("Listening", 20, grow=3, drop=8, minor=True),
)
CANNOT_TELL = "unknown"
"""The bounce of lines that are polled too slowly to see it."""
_WHERE_WIDTH = 10
PROBLEM_COLUMNS = (Column("Where", _WHERE_WIDTH), Column("What it is, and what to do", 30, grow=1))


def sources_title(picture: Snapshot, width: int) -> str:
    """Above a list of so many cells: what a word in it means, where it stands there."""
    shown = [SOURCE_COLUMNS[place].title for place, _ in share(SOURCE_COLUMNS, width)]
    is_unseen = any(not source.sees_bounce and not source.bounce.chatters for source in picture.sources)
    if not is_unseen or "Bounce" not in shown:
        return "Sources"
    return f"Sources · bounce {CANNOT_TELL}: polled more slowly than every {short_ms(BOUNCE_NS)}"


def source_rows(picture: Snapshot, words: str) -> list[Row]:
    return [_source(source) for source in picture.sources if matches(words, source.name, source.state, source.kind)]


def _source(source: SourceNow) -> Row:
    return Row(
        source.name,
        (
            cell(source.name),
            _state(source),
            cell(f"{source.per_second:,.0f}"),
            _load(source.load),
            _count(source.errors),
            _count(source.lost),
            _count(source.gaps),
            *_bounce(source),
            cell(span(source.uncertainty_ns), Tone.DIM),
            cell("–" if source.period_ns is None else span(source.period_ns), Tone.DIM),
            cell(f"{source.records:,}", Tone.DIM),
            cell(source.listening, Tone.DIM),
        ),
    )


def _bounce(source: SourceNow) -> tuple[Cell, Cell]:
    """Glitches, and how long a contact bounced at most, or that one chattered, or that it cannot be told."""
    if source.kind == "bus":
        return cell("–", Tone.DIM), cell("–", Tone.DIM)
    bounce = source.bounce
    if bounce.chatters:
        told = cell("chatter", Tone.WARN)
    elif not source.sees_bounce:
        told = cell(CANNOT_TELL, Tone.DIM)
    else:
        told = cell(span(bounce.longest_ns)) if bounce.longest_ns else cell("none", Tone.DIM)
    return cell(f"{bounce.glitches:,}"), told


def _state(source: SourceNow) -> Cell:
    if not source.is_up:
        return cell(f"✗ {source.state or 'down'}", Tone.BAD)
    if source.asleep:
        return cell("z asleep", Tone.DIM)
    return cell(f"● {source.state or 'up'}", Tone.ON)


def _load(load: float | None) -> Cell:
    if load is None:
        return cell("–", Tone.DIM)
    return cell(f"! {load:.0%}", Tone.WARN) if load >= HIGH_LOAD else cell(f"{load:.0%}")


def _count(count: int | None) -> Cell:
    if count is None:
        return cell("–", Tone.DIM)
    return cell(f"! {count:,}", Tone.WARN) if count else cell("0", Tone.DIM)


def recording_lines(picture: Snapshot) -> list[Line]:
    """Size, space, what was lost on the way, who asks for OBD data, and how each source listens."""
    told = f"{counted(picture.lost, 'frame')} lost"
    lost = Span(f"! {told}", Tone.WARN) if picture.lost else Span(told, Tone.DIM)
    late = Span(f"! {picture.late:,} late", Tone.WARN) if picture.late else Span("0 late", Tone.DIM)
    if picture.mode == "live":
        flow: Line = (Span(" Between source and screen: "), lost, Span(", "), late)
    else:  # what never came into the file, the file does not tell
        flow = (Span(" In the recording: "), late)
    listening: list[Line] = [
        (Span(f" {source.name}: ", Tone.HEAD), Span(source.listening, Tone.DIM))
        for source in picture.sources
        if source.listening
    ]
    return [_recording(picture), flow, *request_lines(picture), *listening]


def _recording(picture: Snapshot) -> Line:
    if picture.mode != "live":
        length = span(picture.end_ns - picture.start_ns)
        read = "" if picture.loaded >= 1 else f", {picture.loaded:.0%} read so far"
        return Span(f" {picture.title}", Tone.STRONG), Span(f", {length} long{read}")
    recorder = picture.recorder
    if recorder is None:
        return (Span(" ○ not recording; r starts one", Tone.DIM),)
    return _recorder(recorder)


def _recorder(recorder: RecorderNow) -> Line:
    sign = Span(" ○ being closed: ", Tone.DIM) if recorder.is_closing else Span(" ● recording ", Tone.GOOD)
    sign = Span(" ✗ stopped ", Tone.BAD) if recorder.failure else sign
    few = recorder.free < LEAST_FREE
    free = Span(f"{'! ' if few else ''}{size(recorder.free)} free", Tone.WARN if few else Tone.PLAIN)
    amount = Span(f"  {counted(recorder.rows, 'row')}, {size(recorder.bytes)}; ")
    return sign, Span(recorder.name, Tone.STRONG), amount, free


def problem_rows(picture: Snapshot, words: str, width: int) -> list[Row]:
    """Everything that wants attention, the worst first; a text wider than `width` goes on in more rows."""
    return [
        Row(f"{number}.{part}", (cell(one.where if part == 0 else "", _tone(one)), cell(text)), one.what)
        for number, one in enumerate(attention(picture))
        if matches(words, one.where, one.what)
        for part, text in enumerate(_wrapped(one.what, width))
    ]


def _tone(one: Wanted) -> Tone:
    return Tone.BAD if one.is_bad else Tone.WARN


def text_width(width: int) -> int:
    """What a list of `width` leaves for the text of a problem."""
    return width - _WHERE_WIDTH - 3


def _wrapped(text: str, width: int) -> list[str]:
    return [part for line in text.splitlines() for part in wrap(line, max(width, 20))]
