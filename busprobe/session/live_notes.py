"""What a person should know of a live run, a sentence each."""

from __future__ import annotations

from busprobe.engine.engine import Results
from busprobe.report.advice import nothing_heard_lines, overrun_text
from busprobe.report.quantities import counted
from busprobe.session.downs import down_notes, never_text
from busprobe.session.live import LiveRun
from busprobe.session.opening import ring_note
from busprobe.session.recorder import RecorderStatus
from busprobe.session.source_notes import source_notes


def live_notes(run: LiveRun, results: Results, recorder: RecorderStatus | None) -> list[str]:
    """For the end of a report, the most important last."""
    notes: list[str] = []
    boxes = {box.name: box for box in run.plan.bench.boxes}
    for name, status in run.status.items():
        if not status.was_up:
            notes.append(never_text(name, status.trouble))
        notes += source_notes(name, run.healths.of(name), status.good, boxes.get(name))
    notes += down_notes([row for row in run.states if run.status[row.source].was_up], run.start_ns)
    if run.inbox.lost:
        notes.append(overrun_text(run.inbox.lost, is_recorded=recorder is not None))
    if results.late:
        notes.append(f"{counted(results.late, 'record')} came too late to count, though recorded.")
    notes += _silence_notes(run)
    if recorder is not None and recorder.dropped_before_ns is not None:
        notes.append(ring_note(recorder.dropped_before_ns, run.start_ns))
    if recorder is not None and recorder.failure:
        why = recorder.failure.removesuffix(": recording stopped.").removesuffix(".")
        notes.append(f"Recording stopped early: {why}.")
    return notes


def _silence_notes(run: LiveRun) -> list[str]:
    """Which buses were silent, and what to try; where there are error frames it is no silence."""
    buses = [bus.name for bus in run.plan.bench.buses]
    silent = [name for name in buses if run.status[name].was_up and not run.status[name].rows]
    if not silent:
        return []
    where = "" if len(silent) == len(buses) else f" on {', '.join(silent)}"
    return [f"No frame was heard{where}.", *nothing_heard_lines()]
