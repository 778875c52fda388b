"""What decoding a recording gave, as lines of text."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from busprobe.errors import Problems
from busprobe.report.quantities import counted, percent
from busprobe.report.table import paragraph


@dataclass(frozen=True)
class DecodeReport:
    """What `decode` wrote."""

    target: Path
    rows: int
    """Samples written."""
    signals: int
    """Signals that had any, each channel's on its own."""
    frames: int
    """Data frames read."""
    decoded: int
    """Those that a database has a message for."""
    problems: Problems = field(default_factory=Problems)
    notes: tuple[str, ...] = ()


def decode_lines(report: DecodeReport) -> list[str]:
    """The report."""
    share = f" ({percent(report.decoded / report.frames)})" if report.frames else ""
    return [
        f"{report.target}: {counted(report.rows, 'sample')} of {counted(report.signals, 'signal')}",
        f"{counted(report.decoded, 'frame')} decoded of {report.frames:,}{share}",
        *(line for note in report.notes for line in paragraph(note, width=96)),
    ]
