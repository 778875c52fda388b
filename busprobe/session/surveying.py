"""`survey`: all that a recording shows, alone, with databases, or with the bench file of its vehicle."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from busprobe.analysis.obd_seen import ObdTally
from busprobe.analysis.presence import Presence, tap_presence
from busprobe.analysis.roles import roles_seen
from busprobe.analysis.survey import Survey
from busprobe.analysis.survey_report import SurveyReport
from busprobe.analysis.survey_result import SurveyResult
from busprobe.decode.obd import Listener
from busprobe.errors import Problem, Problems, counted
from busprobe.frames import FrameBatch
from busprobe.session.described import Described, describe, describe_enclosed
from busprobe.session.obd_tally import tell
from busprobe.session.opening import (
    enclosed_in,
    end_of,
    markers_of,
    open_source,
    ring_notes,
    stated_uncertainty,
    walk_of,
)
from busprobe.session.sources_seen import SourcesSeen
from busprobe.sources.formats import BATCH_ROWS

OF_RECORDING = "The bench file is that which the recording holds; --bench FILE takes another."


def survey(
    recording: Path,
    bench: Path | None = None,
    databases: Sequence[Path] = (),
    *,
    bit_rate: int | None = None,
    strict: bool = False,
    progress: Callable[[float], None] | None = None,
    batch_rows: int = BATCH_ROWS,
) -> SurveyReport:
    """Survey a recording.

    databases: for every channel; a bench file names its own for each bus. Without either the bench
    file counts that a recording of busprobe's own holds. bit_rate: of every channel for which no
    bench file gives one, bit/s. Raises BusprobeError where a file cannot be used, or the bench file
    does not fit its databases or the recording's channels.
    """
    described = describe(bench, databases, bit_rate)
    problems = Problems(strict=strict)
    gathered, tally, listener, seen = Survey(), ObdTally(), Listener(), SourcesSeen()
    source = open_source(recording, problems=problems, batch_rows=batch_rows)
    with closing(source):
        enclosed = None
        if bench is None and not databases:
            enclosed = describe_enclosed(enclosed_in(source), bit_rate, problems)
        described = enclosed or described
        walk, markers = walk_of(source), markers_of(source)
        for batch in source.batches():
            gathered.add(batch)
            seen.add(batch)
            if isinstance(batch, FrameBatch):
                tell(tally, listener.feed(batch))
                if progress is not None:
                    progress(batch.share)
    report = report_of(recording.name, gathered, tally, listener, described, problems)
    result = spanning(report.result, source.start_ns, end_of(source))
    notes = [] if enclosed is None else [OF_RECORDING]
    notes += seen.notes(stated_uncertainty(source.about), described.boxes, result.start_ns or 0)
    notes += ring_notes(source.about, result.start_ns or 0)
    return replace(report, result=result, notes=(*report.notes, *notes), walk=walk, markers=markers)


def spanning(result: SurveyResult, start_ns: int | None, end_ns: int | None) -> SurveyResult:
    """The same from the start to the end of the recording, as far as they are known: all times count from there."""
    return replace(
        result,
        start_ns=result.start_ns if start_ns is None else start_ns,
        end_ns=result.end_ns if end_ns is None else end_ns,
    )


def report_of(
    recording: str, gathered: Survey, tally: ObdTally, listener: Listener, described: Described, problems: Problems
) -> SurveyReport:
    """The report on what was gathered."""
    channels = described.on(gathered.channels)
    found = gathered.result(channels.name_of if described.has_databases else None, described.boxes, channels.bit_rates)
    obd = tally.result(listener.broken, listener.malformed)
    signals = tap_presence(channels.wanted(found), found, obd)
    notes = [
        f"PID {pid:02X} of unknown length: {counted(number, 'answer')} could not be read from there on."
        for pid, number in sorted(listener.unknown_pids.items())
    ]
    if signals and all(one.presence is Presence.MISSING for one in signals):
        notes.append("None of the bench file's signals is in this recording: is it of another vehicle?")
    return SurveyReport(
        recording,
        found,
        obd,
        signals,
        () if described.bench is None else roles_seen(described.bench.signals, signals),
        described.vehicle,
        channels.bit_rates,
        _faults(described),
        problems,
        tuple(notes),
    )


def _faults(described: Described) -> tuple[Problem, ...]:
    return tuple(problem for database in described.all_databases for problem in database.faulty)
