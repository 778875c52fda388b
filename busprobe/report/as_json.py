"""Reports as JSON objects: plain dicts, lists, numbers, texts and None.

Times: `t_ns` as recorded, `t_s` in seconds since the recording's start.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from busprobe.errors import Problems
from busprobe.report.verified import OUTCOMES, Latencies, Verified, exit_status, latencies
from busprobe.report.walk import newest
from busprobe.results import BUS_KINDS, CheckResult, LogLine, Marker, Occurrence, TriggerEntry, WalkResult

Json = dict[str, Any]


def dump(report: Json) -> str:
    """The text of a JSON file."""
    return json.dumps(report, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def verify_json(found: Verified) -> Json:
    """The report on checks."""
    start = found.start_ns
    return {
        "vehicle": found.vehicle,
        "recording": found.recording,
        "start_ns": start,
        "end_ns": found.end_ns,
        "duration_s": seconds(found.end_ns - start),
        "frames": found.frames,
        "exit_status": exit_status(found.checks),
        "checks": [_check(check, start) for check in found.checks],
        "triggers": [trigger_json(entry, start) for entry in found.triggers],
        "bus_log": [bus_line_json(line, start) for line in found.log if line.kind in BUS_KINDS],
        "markers": markers_json(found.markers, start),
        "walk": walk_json(found.walk, start),
        "problems": problems_json(found.problems),
        "notes": list(found.notes),
    }


def seconds(ns: int | None) -> float | None:
    return None if ns is None else ns / 1e9


def milliseconds(ns: int | None) -> float | None:
    return None if ns is None else ns / 1e6


def _check(check: CheckResult, start: int) -> Json:
    return {
        "name": check.name,
        "verdict": check.verdict.value,
        "kind": check.kind,
        "expected": check.expected,
        "when": check.when,
        "needed": check.needed,
        "counts": {outcome.value: check.count(outcome) for outcome in OUTCOMES},
        "start_not_seen": check.start_not_seen,
        "glitches": check.glitches,
        "tight": sum(o.tight for o in check.occurrences),
        **_latencies(latencies(check, check.occurrences), check.limit_ns),
        "occurrences": [_occurrence(o, start) for o in check.occurrences],
    }


def _latencies(timed: Latencies | None, limit_ns: int | None) -> Json:
    return {
        "limit_ms": milliseconds(limit_ns),
        "worst_ms": milliseconds(timed.worst_ns) if timed else None,
        "median_ms": milliseconds(timed.median_ns) if timed else None,
    }


def _occurrence(one: Occurrence, start: int) -> Json:
    return {
        "t_ns": one.t_ns,
        "t_s": seconds(one.t_ns - start),
        "decided_ns": one.decided_ns,
        "outcome": one.outcome.value,
        "latency_ms": milliseconds(one.latency_ns),
        "limit_ms": milliseconds(one.limit_ns),
        "uncertainty_ms": milliseconds(one.uncertainty_ns),
        "tight": one.tight,
        "part": one.part,
        "length_ms": milliseconds(one.length_ns),
        "at_ns": one.at_ns,
        "came_after_ms": milliseconds(one.came_after_ns),
        "never_came": one.never_came,
        "note": one.note,
        "signals": dict(one.signals) if one.signals is not None else None,
    }


def trigger_json(entry: TriggerEntry, start: int) -> Json:
    return {
        "name": entry.name,
        "marker": entry.is_marker,
        "t_ns": entry.t_ns,
        "t_s": seconds(entry.t_ns - start),
        "decided_ns": entry.decided_ns,
        "signals": dict(entry.signals),
        "keep_from_ns": entry.keep_from_ns,
        "keep_to_ns": entry.keep_to_ns,
    }


def bus_line_json(line: LogLine, start: int) -> Json:
    """A bus that fell asleep or woke."""
    return {
        "channel": line.name,
        "kind": line.kind,
        "t_ns": line.t_ns,
        "t_s": seconds(line.t_ns - start),
        "text": line.text,
    }


def markers_json(markers: Sequence[Marker], start_ns: int) -> list[Json]:
    """Notes set in the recording, in order of time."""
    return [{"t_ns": one.t_ns, "t_s": seconds(one.t_ns - start_ns), "note": one.note} for one in markers]


def walk_json(results: Sequence[WalkResult], start_ns: int) -> list[Json]:
    """Every result, also those that a newer one supersedes."""
    counting = newest(results)
    return [
        {
            "signal": one.signal,
            "role": one.role,
            "outcome": one.outcome.value,
            "superseded": one not in counting,
            "t_ns": one.t_ns,
            "t_s": seconds(one.t_ns - start_ns),
            "took_s": seconds(one.took_ns),
            "edges": one.edges,
            "bounce": one.bounce,
            "lost": one.losses,
            "found": one.text,
        }
        for one in results
    ]


def problems_json(problems: Problems) -> Json:
    """Problems of reading: the first ones in full, all counted."""
    return {"count": problems.count, "first": [str(one) for one in problems.items]}
