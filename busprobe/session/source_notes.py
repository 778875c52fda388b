"""What a person should know of how a source did, a sentence each: the same of a live run and of its recording."""

from __future__ import annotations

from collections.abc import Iterator

from busprobe.bench.model import InputBox
from busprobe.health import Health
from busprobe.report.advice import errors_text, fault_text
from busprobe.report.quantities import counted
from busprobe.sources.pace import pace_notes


def source_notes(name: str, health: Health, good: int, box: InputBox | None) -> Iterator[str]:
    """Over the whole run.

    good: frames of a bus that came from the vehicle and were no error frames. box: as the bench file has it,
    None of a bus and of a box that it has not.
    """
    if health.listening:
        yield f"{name}: {health.listening}"
    if box is not None and health.period_ns is not None:
        yield from pace_notes(box, health.period_ns)
    if health.lost:
        yield f"{name}: the driver says it lost {counted(health.lost, 'record')}."
    error_frames = health.errors - sum(fault.count for fault in health.faults)
    if error_frames:
        yield f"{name}: {errors_text(error_frames, good).rstrip('.')}."
    if health.state in ("passive", "off"):
        yield f"{name}: the adapter's controller is error {health.state}."
    for fault in health.faults:
        yield f"{name}: {fault_text(fault)}"
