"""Where frames come from: one module a file format or adapter."""

from busprobe.sources import asc, blf, candump, csv_log, trc
from busprobe.sources.formats import BATCH_ROWS, Format

FORMATS: tuple[Format, ...] = (
    candump.FORMAT,
    blf.FORMAT,
    asc.FORMAT,
    trc.FORMAT,
    csv_log.FORMAT,
)
"""All formats of files; a new one is a module and a line here."""

__all__ = ["BATCH_ROWS", "FORMATS", "Format"]
