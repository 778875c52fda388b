"""The survey as a JSON object; times as in `as_json`, periods in ms."""

from __future__ import annotations

from busprobe.analysis.intervals import IntervalStats
from busprobe.analysis.presence import TapSeen
from busprobe.analysis.survey_report import SurveyReport
from busprobe.analysis.survey_result import BoxSeen, ChannelSeen, IdentifierSeen
from busprobe.report.as_json import Json, markers_json, milliseconds, problems_json, seconds, walk_json
from busprobe.report.obd_json import obd_json
from busprobe.report.quantities import identifier


def survey_json(report: SurveyReport) -> Json:
    """The whole report."""
    found = report.result
    start = found.start_ns or 0
    span = found.end_ns - found.start_ns if found.end_ns is not None and found.start_ns is not None else None
    return {
        "vehicle": report.vehicle or None,
        "recording": report.recording,
        "start_ns": found.start_ns,
        "end_ns": found.end_ns,
        "duration_s": seconds(span),
        "frames": found.frames,
        "channels": [_channel(one, report) for one in found.channels],
        "identifiers": [_identifier(one, start) for one in found.identifiers],
        "boxes": [_box(one, start) for one in found.boxes],
        "source_states": [
            {"t_ns": row.t_ns, "t_s": seconds(row.t_ns - start), "source": row.source, "condition": row.condition.value}
            for row in found.states
        ],
        "signals": [_signal(one, start) for one in report.signals],
        "roles": [
            {"role": one.role, "way": one.way.value, "changed": one.changed, "signal": one.signal, "tap": one.tap}
            for one in report.roles
        ],
        "obd": obd_json(report.obd, start),
        "markers": markers_json(report.markers, start),
        "walk": walk_json(report.walk, start),
        "database_faults": [str(one) for one in report.faults],
        "problems": problems_json(report.problems),
        "notes": list(report.notes),
    }


def _channel(one: ChannelSeen, report: SurveyReport) -> Json:
    rate = report.bit_rates.get(one.name)
    return {
        "name": one.name,
        "first_ns": one.first_ns,
        "last_ns": one.last_ns,
        "duration_s": seconds(one.duration_ns),
        "frames": one.frames,
        "error_frames": one.errors,
        "remote_frames": one.remotes,
        "sent_frames": one.sent,
        "late_frames": one.late,
        "bitrate": rate.nominal if rate else None,
        "data_bitrate": rate.data if rate else None,
        "load": one.load,
        "busiest_second_load": one.busiest,
        "busiest_second_ns": one.busiest_ns,
        "decoded_frames": one.decoded,
        "decoded_share": one.decoded / one.data_frames if one.decoded is not None and one.data_frames else None,
    }


def _intervals(one: IntervalStats, start: int) -> Json:
    return {
        "sending": one.sending.value,
        "period_ms": milliseconds(one.median_ns),
        "jitter_ms": milliseconds(one.jitter_ns),
        "longest_gap_ms": milliseconds(one.longest_ns),
        "longest_gap_from_s": seconds(one.longest_from_ns - start) if one.longest_from_ns is not None else None,
    }


def _identifier(one: IdentifierSeen, start: int) -> Json:
    return {
        "channel": one.channel,
        "identifier": one.identifier,
        "hex": identifier(one.identifier, one.extended),
        "extended": one.extended,
        "message": one.message,
        "count": one.count,
        "remote_frames": one.remotes,
        "lengths": list(one.lengths),
        "first_s": seconds(one.first_ns - start),
        "last_s": seconds(one.last_ns - start),
        **_intervals(one.intervals, start),
        "changing_bits": b"".join(word.to_bytes(8, "little") for word in one.changing)[
            : max(one.lengths, default=0)
        ].hex(),
    }


def _box(one: BoxSeen, start: int) -> Json:
    return {
        "name": one.name,
        "polls": one.polls,
        "late_polls": one.late,
        "first_s": seconds(one.first_ns - start),
        "last_s": seconds(one.last_ns - start),
        **_intervals(one.intervals, start),
        "lines": [
            {"number": n.number, "name": n.name or None, "edges": n.edges, "level": "high" if n.high else "low"}
            for n in one.lines
        ],
        "analogue_lines": [
            {"number": n.number, "name": n.name or None, "least_mv": n.least_mv, "greatest_mv": n.greatest_mv}
            for n in one.analogue
        ],
    }


def _signal(one: TapSeen, start: int) -> Json:
    return {
        "signal": one.signal,
        "from": one.tap,
        "state": one.presence.value,
        "samples": one.count,
        "last_s": seconds(one.last_ns - start) if one.last_ns is not None else None,
        "age_at_end_ms": milliseconds(one.age_ns),
        "max_age_ms": milliseconds(one.max_age_ns),
        "proposed_max_age_ms": milliseconds(one.proposed_ns),
        "note": one.note,
    }
