"""`decode`: the signals of a recording to a file of samples."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np

from busprobe.decode.database import load
from busprobe.decode.layout import Database, MessageLayout
from busprobe.decode.messages import SignalSamples, count_long, count_short, decode_rows
from busprobe.decode.routing import Router
from busprobe.errors import DatabaseError, OpenError, Problems, nearest
from busprobe.frames import ERROR, REMOTE, FrameBatch, Int64Array
from busprobe.recording.export import SampleWriter
from busprobe.report.decode_text import DecodeReport
from busprobe.report.quantities import counted
from busprobe.session.opening import open_source
from busprobe.sources.formats import BATCH_ROWS


def decode(
    recording: Path,
    databases: Sequence[Path],
    target: Path,
    *,
    signals: Sequence[str] = (),
    strict: bool = False,
    progress: Callable[[float], None] | None = None,
    batch_rows: int = BATCH_ROWS,
) -> DecodeReport:
    """Decode the data frames of every channel and write one row for each sample.

    signals: "Signal" or "Message.Signal"; empty: all. Raises BusprobeError where a file
    cannot be used, no database has a signal named, or none has a message of the recording's.
    """
    loaded = [load(path) for path in databases]
    work = _Work(loaded, signals)
    problems = Problems(strict=strict)
    source = open_source(recording, problems=problems, batch_rows=batch_rows)
    with closing(source), SampleWriter(target) as writer:
        for batch in source.batches():
            if isinstance(batch, FrameBatch):
                work.take(batch, source.start_ns or 0, writer)
                if progress is not None:
                    progress(batch.share)
        if work.frames and not work.decoded:
            # Raised before the writer writes: no file without a row is left.
            raise OpenError(
                "None of the database's messages is in this recording.",
                path=recording,
                hint="Is it the database of this vehicle? busprobe survey shows what was recorded.",
            )
    return DecodeReport(
        target, work.rows, len(work.seen), work.frames, work.decoded, problems, tuple(work.notes(loaded))
    )


class _Work:
    """Decodes batch by batch, and counts."""

    def __init__(self, databases: Sequence[Database], signals: Sequence[str]) -> None:
        self._router = Router([(None, message) for database in databases for message in database.messages])
        self._wanted = _wanted(self._router.messages, signals)
        self.rows = self.frames = self.decoded = 0
        self.seen: set[tuple[str, str, str]] = set()
        self._short: dict[str, int] = {}
        self._long: dict[str, int] = {}
        self._channels: tuple[str, ...] = ()

    def take(self, batch: FrameBatch, start_ns: int, writer: SampleWriter) -> None:
        """Write the samples of one batch."""
        self._channels = batch.channels
        self.frames += int(np.count_nonzero((batch.flags & (ERROR | REMOTE)) == 0))
        for index, rows in self._router.split(batch):
            message = self._router.messages[index]
            self.decoded += len(rows)
            self._count_lengths(batch, rows, message)
            wanted = self._wanted.get(index) if self._wanted is not None else None
            if self._wanted is not None and wanted is None:
                continue
            channel = batch.channels[batch.channel[rows[0]]]
            t_s = (batch.t_ns[rows] - start_ns) / 1e9
            for samples in decode_rows(batch, rows, message, wanted):
                self._write(samples, t_s, channel, message.name, writer)

    def _write(self, samples: SignalSamples, t_s: np.ndarray, channel: str, message: str, writer: SampleWriter) -> None:
        raw, value, here = samples.raw, samples.value, samples.present
        if here is not None:
            t_s, raw, value = t_s[here], raw[here], value[here]
        if not len(t_s):
            return
        layout = samples.layout
        self.rows += len(t_s)
        self.seen.add((channel, message, layout.name))
        writer.add(
            t_s=t_s,
            channel=channel,
            message=message,
            signal=layout.name,
            raw=raw,
            value=value,
            labels=layout.choices or None,
            unit=layout.unit,
        )

    def _count_lengths(self, batch: FrameBatch, rows: Int64Array, message: MessageLayout) -> None:
        for counts, number in (
            (self._short, count_short(batch, rows, message)),
            (self._long, count_long(batch, rows, message)),
        ):
            if number:
                counts[message.name] = counts.get(message.name, 0) + number

    def notes(self, databases: Sequence[Database]) -> list[str]:
        """What the user should know besides, a sentence each."""
        out = [
            f"{database.path.name}: {counted(len(database.faulty), 'fault')}, the rest is used; survey lists them."
            for database in databases
            if database.faulty
        ]
        for index in self._router.hidden(self._channels):
            name = self._router.messages[index].name
            out.append(f'Message "{name}" is not used: a database named before it has its identifier.')
        out += [
            f"{counted(number, 'frame')} of {name} shorter than the database says, decoded as far as they go."
            for name, number in self._short.items()
        ]
        out += [
            f"{counted(number, 'frame')} of {name} longer than the database says, the rest not looked at."
            for name, number in self._long.items()
        ]
        return out


def _wanted(messages: Sequence[MessageLayout], names: Sequence[str]) -> Mapping[int, Collection[str]] | None:
    """Signals wanted of each message, by its index; None: all. Raises DatabaseError at an unknown name."""
    if not names:
        return None
    out: dict[int, set[str]] = {}
    for name in names:
        owner, dot, signal = name.rpartition(".")
        places = [k for k, m in enumerate(messages) if (not dot or m.name == owner) and m.signal(signal) is not None]
        if not places:
            known = [f"{m.name}.{s.name}" if dot else s.name for m in messages for s in m.signals]
            raise DatabaseError(f'No signal "{name}" in the databases.' + nearest(name, known))
        for place in places:
            out.setdefault(place, set()).add(signal)
    return out
