"""BLF: a binary recording of frames in packed containers.

    LOGG | header size | ... | file size | ... | start (year, month, weekday, day, h, min, s, ms)
    LOBJ | container: packed objects
    LOBJ | container: packed objects ...

`blf_containers` unpacks, `blf_walk` finds the objects and `blf_objects` reads them. No public
document describes the format; this follows the layout that python-can reads. The start is
taken as UTC, and channels are numbered from 0, as there.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from mmap import ACCESS_READ, mmap
from pathlib import Path

import numpy as np

from busprobe.errors import FormatError, Problems, counted
from busprobe.frames import FrameBatch, Tail, UInt8Array
from busprobe.sources.blf_containers import Piece, pieces
from busprobe.sources.blf_objects import SPARE, Columns, frame_columns
from busprobe.sources.blf_walk import walk
from busprobe.sources.formats import Format
from busprobe.timeline import FOREVER

_SIGNATURE = b"LOGG"
_HEADER = struct.Struct("<4sL8xQQLL8H8H")
_FULL_HEADER = 144
_FRAME_BYTES = 48
"""Size of the usual object: a frame with up to 8 bytes."""


def looks_like(head: bytes) -> bool:
    return head.startswith(_SIGNATURE)


def read(path: Path, problems: Problems, batch_rows: int) -> Iterator[FrameBatch]:
    """Frames of a BLF file. Raises FormatError where its header cannot be used."""
    with path.open("rb") as file:
        header = _read_header(file.read(_FULL_HEADER), path)
        stream = _Stream(path, problems, header.start_ns)
        with mmap(file.fileno(), 0, access=ACCESS_READ) as content:
            waiting: list[Piece] = []
            size = 0
            for piece in pieces(content, header.size, path, problems):
                if waiting and (piece.after_loss or piece.cut or size + len(piece.data) > batch_rows * _FRAME_BYTES):
                    yield from stream.batches(waiting, batch_rows)
                    waiting, size = [], 0
                waiting.append(piece)
                size += len(piece.data)
            yield from stream.batches(waiting, batch_rows)
            stream.finish(header.file_size, len(content))


@dataclass(frozen=True)
class _Header:
    size: int
    file_size: int
    """As it was when the recorder wrote the header."""
    start_ns: int


def _read_header(data: bytes, path: Path) -> _Header:
    hint = "Copy the file once more from the recorder, or choose another one."
    if not data.startswith(_SIGNATURE):
        raise FormatError('The file does not begin with "LOGG" as a BLF recording does.', path=path, hint=hint)
    there = path.stat().st_size
    size = int.from_bytes(data[4:8], "little") if len(data) >= 8 else _FULL_HEADER
    if there < size or len(data) < _HEADER.size:
        raise FormatError(f"The file ends inside its header: {there} of {size} bytes are there.", path=path, hint=hint)
    if size < _HEADER.size:
        message = f'The header says "{size}" as its own size; it is {_HEADER.size} bytes or more.'
        raise FormatError(message, path=path, hint=hint)
    _, _, file_size, _, _, _, *moments = _HEADER.unpack_from(data)
    return _Header(size, file_size, _utc_ns(*moments[:8]))


def _utc_ns(year: int, month: int, _weekday: int, day: int, hour: int, minute: int, second: int, ms: int) -> int:
    """Nanoseconds since the epoch; 0 where the fields are no date, as in a file without a start."""
    try:
        moment = datetime(year, month, day, hour, minute, second, ms * 1000, tzinfo=UTC)
    except ValueError:
        return 0
    since = moment - datetime(1970, 1, 1, tzinfo=UTC)
    ns = (since.days * 86_400 + since.seconds) * 1_000_000_000 + since.microseconds * 1000
    return ns if 0 < ns < FOREVER else 0


class _Stream:
    """Turns pieces into batches; keeps the beginning of an object that goes on in the next piece."""

    def __init__(self, path: Path, problems: Problems, start_ns: int) -> None:
        self.path = path
        self.problems = problems
        self.start_ns = start_ns
        self.rest = b""
        self.cut = False
        self.channels: tuple[str, ...] = ()
        self.channel_index = np.full(256, -1, np.int16)
        self.newest_ns: int | None = None

    def batches(self, waiting: list[Piece], batch_rows: int) -> Iterator[FrameBatch]:
        """Frames of some pieces; only the first of them may come after a loss or be cut."""
        if not waiting:
            return
        first = waiting[0]
        rest = b"" if first.after_loss else self.rest
        data = b"".join([rest, *(piece.data for piece in waiting), bytes(SPARE)])
        size = len(data) - SPARE
        objects = walk(data, size, first.after_loss)
        columns, damaged = frame_columns(data, objects.starts, objects.heads, self.start_ns)
        self.rest = data[objects.used : size]
        self._report(waiting, len(rest), objects.skipped, damaged.tolist(), len(columns.t_ns))
        whole = self._batch(columns, waiting[-1].share)
        for start in range(0, len(whole), batch_rows):
            part = whole if len(whole) <= batch_rows else whole.cut(start, start + batch_rows)
            newest = int(part.t_ns.max())
            self.newest_ns = newest if self.newest_ns is None else max(self.newest_ns, newest)
            yield replace(part, complete_to_ns=self.newest_ns)

    def finish(self, said_size: int, size: int) -> None:
        """Says what the end of the file cuts off."""
        if self.cut:
            return
        if self.rest.strip(b"\0"):
            self.problems.add("The file ends inside an object, which is lost.", path=self.path)
        elif said_size > size:
            message = f"The file is {size} bytes long and its header says {said_size}: its end is lost."
            self.problems.add(message, path=self.path)

    def _batch(self, columns: Columns, share: float) -> FrameBatch:
        channel = self._index(columns.channel)
        long = np.flatnonzero(columns.length > 8) if columns.words.shape[1] > 1 else np.empty(0, np.int64)
        return FrameBatch(
            columns.t_ns, self.channels, channel, columns.identifier, columns.flags, columns.length,
            np.ascontiguousarray(columns.words[:, 0]),
            Tail(long, columns.words[long, 1:]) if len(long) else None,
            share=share,
        )  # fmt: skip

    def _index(self, numbers: UInt8Array) -> UInt8Array:
        """Indexes into `channels`, which grows by those seen for the first time."""
        index = self.channel_index[numbers]
        while (index < 0).any():
            number = int(numbers[np.argmax(index < 0)])
            self.channel_index[number] = len(self.channels)
            self.channels += (str(number - 1),)
            index = self.channel_index[numbers]
        return index.astype(np.uint8)

    def _report(
        self, waiting: list[Piece], shift: int, skipped: tuple[tuple[int, int], ...], damaged: list[int], frames: int
    ) -> None:
        """Problems of some pieces, by the container in which they begin.

        shift: bytes at the beginning of the stretch that are of earlier pieces.
        """
        begins = np.cumsum([shift, *(len(piece.data) for piece in waiting[:-1])]).tolist()

        def container(place: int) -> int:
            return waiting[max(0, bisect_right(begins, place) - 1)].at

        for start, end in skipped:
            rest = counted(end - start, "byte")
            message = f"{rest} in the container at byte {container(start)} skipped: no object."
            self.problems.add(message, path=self.path)
        for start in damaged:
            message = f"An object in the container at byte {container(start)} is damaged; that frame is lost."
            self.problems.add(message, path=self.path)
        if waiting[0].cut:
            self.cut = True
            kept = f" but for the first {frames}" if frames else ""
            message = f"The file ends inside a container at byte {waiting[0].at}; the frames in it are lost{kept}."
            self.problems.add(message, path=self.path)


FORMAT = Format("BLF", (".blf",), looks_like, read, resolution_ns=10_000)
