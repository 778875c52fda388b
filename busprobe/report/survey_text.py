"""The survey as lines of text: channels, identifiers, input boxes, signals of the bench file."""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.analysis.presence import Presence, TapSeen
from busprobe.analysis.roles import RoleSeen
from busprobe.analysis.survey_report import SurveyReport
from busprobe.analysis.survey_result import BoxSeen, ChannelSeen, IdentifierSeen, SurveyResult
from busprobe.frames import Condition
from busprobe.report.markers import marker_lines
from busprobe.report.obd_text import obd_lines
from busprobe.report.quantities import count, counted, exact, identifier, moment, percent, rounded, wall
from busprobe.report.table import WIDE, Column, heading, paragraph, room, table
from busprobe.report.walk import walk_lines

FAULTS_SHOWN = 20
"""Faults of databases shown; the JSON file has all."""
MASK_BYTES = 8
"""Payload bytes whose changing bits are shown one by one; of a longer payload they are counted."""

_CHANNELS = (
    Column("channel"),
    Column("frames", right=True),
    Column("length", right=True),
    Column("load", right=True),
    Column("busiest second", right=True),
    Column("errors", right=True),
    Column("remote", right=True),
    Column("sent", right=True),
    Column("late", right=True),
    Column("decoded", right=True),
)
_IDENTIFIERS = (
    Column("id", right=True),
    Column("message", wrap=22),
    Column("frames", right=True),
    Column("sent"),
    Column("period", right=True),
    Column("jitter", right=True),
    Column("longest", right=True),
    Column("at", right=True),
    Column("changing bits"),
)
_SIGNALS = (
    Column("signal", wrap=20),
    Column("from", wrap=40),
    Column("state"),
    Column("samples", right=True),
    Column("last", right=True),
    Column("max_age", right=True),
    Column("proposed", right=True),
    Column("", wrap=20),
)
_ROLES = (Column("role"), Column("can be had", wrap=24), Column("signal", wrap=20), Column("from", wrap=50))
_LEGEND = (
    "period: median interval. jitter: from the 5 % to the 95 % point of the intervals. longest, at: the "
    "longest interval, and when it began. changing bits: two hex digits a payload byte, first byte "
    "first, a 1 for each bit that was not always the same."
)


def survey_lines(report: SurveyReport) -> list[str]:
    """The whole report."""
    found = report.result
    start = found.start_ns or 0
    return [
        *_head(report),
        *_channels(found),
        *(line for channel in found.channels for line in _identifiers(channel, found, start)),
        *(paragraph(_LEGEND, width=96) if found.identifiers else []),
        *_boxes(found.boxes),
        *_downs(found, start),
        *_signals(report.signals, start),
        *_roles(report.roles),
        *obd_lines(report.obd, start),
        *marker_lines(report.markers, start),
        *walk_lines(report.walk, start),
        *_faults(report),
        *(["", *(line for note in report.notes for line in paragraph(note, width=96))] if report.notes else []),
    ]


def _head(report: SurveyReport) -> list[str]:
    found = report.result
    if found.start_ns is None or found.end_ns is None:
        return [f"Recording  {report.recording}", "Length     nothing in it"]
    began = wall(found.start_ns)
    length = f"{exact(found.end_ns - found.start_ns)}, {counted(found.frames, 'frame')}"
    rows = [("Vehicle", report.vehicle), ("Recording", report.recording), ("Begins", began or ""), ("Length", length)]
    return [f"{name:<10} {text}" for name, text in rows if text]


def _channels(found: SurveyResult) -> list[str]:
    rows = [
        (
            one.name,
            count(one.frames),
            exact(one.duration_ns),
            percent(one.load),
            percent(one.busiest),
            _some(one.errors),
            _some(one.remotes),
            _some(one.sent),
            _some(one.late),
            _decoded(one),
        )
        for one in found.channels
    ]
    lines = table(_CHANNELS, rows)
    if lines and all(one.load is None for one in found.channels):
        lines.append("No bus load: the bit rate is not known. --bitrate N gives it.")
    return [*heading("Channels"), *lines] if lines else []


def _some(number: int) -> str:
    return count(number) if number else ""


def _decoded(one: ChannelSeen) -> str:
    if one.decoded is None or not one.data_frames:
        return ""
    return percent(one.decoded / one.data_frames)


def _identifiers(channel: ChannelSeen, found: SurveyResult, start: int) -> list[str]:
    rows = [_identifier(one, start) for one in found.identifiers if one.channel == channel.name]
    if not rows:
        return []
    return [*heading(f"Identifiers on {channel.name}: {len(rows):,}"), *_identifier_table(rows)]


def _identifier_table(rows: Sequence[Sequence[str]]) -> list[str]:
    """Where lines are short, a message stands below its changing bits."""
    if room(WIDE) >= WIDE:
        return table(_IDENTIFIERS, rows)
    narrow = (_IDENTIFIERS[0], *_IDENTIFIERS[2:-1], Column("changing bits", wrap=22))
    return table(narrow, [(one, *rest, f"{bits}\n{name}".rstrip()) for one, name, *rest, bits in rows])


def _identifier(one: IdentifierSeen, start: int) -> Sequence[str]:
    gaps = one.intervals
    remote = f" +{count(one.remotes)} remote" if one.remotes else ""
    return (
        identifier(one.identifier, one.extended),
        one.message or "",
        count(one.count) + remote,
        gaps.sending.value,
        rounded(gaps.median_ns),
        rounded(gaps.jitter_ns),
        rounded(gaps.longest_ns),
        moment(gaps.longest_from_ns, start) if gaps.longest_from_ns is not None else "",
        changing_text(one),
    )


def changing_text(one: IdentifierSeen) -> str:
    """Changing bits: hex by payload byte, first byte first; of a long payload their number."""
    longest = max(one.lengths, default=0)
    if longest > MASK_BYTES:
        return f"{sum(word.bit_count() for word in one.changing)} of {8 * longest} bits"
    return one.changing[0].to_bytes(8, "little")[:longest].hex().upper()


def _boxes(boxes: Sequence[BoxSeen]) -> list[str]:
    lines: list[str] = []
    for box in boxes:
        gaps = box.intervals
        told = f"{counted(box.polls, 'sample')}, period {rounded(gaps.median_ns) or 'not known'}"
        if gaps.longest_ns is not None:
            told += f", jitter {rounded(gaps.jitter_ns)}, longest {rounded(gaps.longest_ns)}"
        if box.late:
            told += f", {count(box.late)} late"
        lines += [*heading(f"Input box {box.name}"), told]
        rows = [(str(line.number), line.name, count(line.edges), "high" if line.high else "low") for line in box.lines]
        rows += [
            (f"analogue {one.number}", one.name, "", f"{one.least_mv / 1000:.3f} V to {one.greatest_mv / 1000:.3f} V")
            for one in box.analogue
        ]
        columns = (Column("line", right=True), Column("name"), Column("edges", right=True), Column("level at the end"))
        lines += table(columns, rows)
    return lines


def _downs(found: SurveyResult, start: int) -> list[str]:
    """The source states recorded, where any source was down."""
    if all(row.condition is Condition.UP for row in found.states):
        return []
    rows = [(moment(row.t_ns, start), row.source, row.condition.value, row.note) for row in found.states]
    columns = (Column("time", right=True), Column("source"), Column("state"), Column("note", wrap=40))
    more = found.state_count - len(found.states)
    return [*heading("Sources up and down"), *table(columns, rows), *([f"and {more:,} more"] if more else [])]


def _signals(signals: Sequence[TapSeen], start: int) -> list[str]:
    if not signals:
        return []
    rows = [
        (
            one.signal,
            one.tap,
            one.presence.value,
            _some(one.count),
            moment(one.last_ns, start) if one.last_ns is not None else "",
            exact(one.max_age_ns) if one.max_age_ns is not None else "",
            exact(one.proposed_ns) if one.proposed_ns is not None else "",
            one.note,
        )
        for one in signals
    ]
    counts = ((state, sum(one.presence is state for one in signals)) for state in Presence)
    told = ", ".join(f"{number} {state.value}" for state, number in counts if number)
    return [*heading("Signals of the bench file"), *table(_SIGNALS, rows), told + "."]


def _roles(roles: Sequence[RoleSeen]) -> list[str]:
    """Which roles can be had here, and which need a wire."""
    if not roles:
        return []
    rows = [(one.role, way_text(one), one.signal, one.tap) for one in roles]
    return [*heading("Roles"), *table(_ROLES, rows)]


def way_text(one: RoleSeen) -> str:
    """How a role can be had; a place that was never seen to change is not proved to be this role's."""
    return f"{one.way.value}, unchanged: operate it" if one.changed is False else one.way.value


def _faults(report: SurveyReport) -> list[str]:
    if not report.faults:
        return []
    lines = [line for fault in report.faults[:FAULTS_SHOWN] for line in paragraph(str(fault), width=96)]
    more = len(report.faults) - FAULTS_SHOWN
    rest = [f"and {more:,} more; --json FILE writes all of them"] if more > 0 else []
    return [*heading("Faults in the databases"), *lines, *rest]
