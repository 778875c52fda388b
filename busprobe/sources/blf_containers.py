"""Containers of a BLF file: found, unpacked, and what to do where one is damaged or cut.

    LOBJ | header size 16 | header version 1 | object size | object type 10       16 bytes
    packing (0 none, 2 zlib) | 6 unused bytes | unpacked size | 4 unused bytes    16 bytes
    packed bytes, then 0 to 3 bytes of padding; the next LOBJ follows

The unpacked bytes of all containers are one stream of objects; an object may begin in one
container and end in the next. Described from the layout that python-can reads and writes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from mmap import mmap
from pathlib import Path

from busprobe.errors import Problems
from busprobe.sources.blf_objects import FRAME_TYPES, PADDING, SIGNATURE

CONTAINER = 10
_HEAD = struct.Struct("<4sHHLL")
_PACKING = struct.Struct("<H6xL4x")
_BODY = _HEAD.size + _PACKING.size
_START = _HEAD.pack(SIGNATURE, 16, 1, 0, 0)[:8]
_UNPACKED, _ZLIB = 0, 2
_TYPES = 256
"""Object types are small numbers: a greater one is damage."""
_BIGGEST = 1 << 26
"""No more than this is set aside for a container on the word of its header."""


@dataclass(frozen=True)
class Piece:
    """Unpacked bytes of one container, or one frame object that stands outside any."""

    data: bytes
    at: int
    """Byte of the file at which it begins."""
    share: float
    """How much of the file lies up to its end, 0 to 1."""
    after_loss: bool = False
    """Something before it is lost: it may begin inside an object."""
    cut: bool = False
    """The file ends inside it."""


def pieces(file: mmap, start: int, path: Path, problems: Problems) -> Iterator[Piece]:
    """The stream of objects, container by container, from byte `start` on.

    A container that cannot be unpacked is a problem; reading goes on at the next one.
    """
    size, at, lost = len(file), start, False
    while at < size:
        length, kind = _length_and_type(file, at)
        end = at + length
        if length < _HEAD.size or end > size or kind >= _TYPES:
            following = _find_container(file, at + 4)
            if following < 0:
                if file[at:].strip(b"\0"):
                    yield Piece(_unpack_start(file, at), at, 1.0, lost, cut=True)
                return
            problems.add(f"The container at byte {at} is damaged; the frames in it are lost.", path=path)
            at, lost = following, True
            continue
        data = _stream_bytes(file, at, end, kind)
        if data is None:
            problems.add(f"The container at byte {at} cannot be unpacked; the frames in it are lost.", path=path)
            lost = True
        elif data:
            yield Piece(data, at, min(1.0, (end + PADDING) / size), lost)
            lost = False
        following = file.find(SIGNATURE, end, end + PADDING + len(SIGNATURE))
        at = following if following >= 0 else end


def _length_and_type(file: mmap, at: int) -> tuple[int, int]:
    """Size and type of the object at `at`; size 0 where none begins there or its header is cut."""
    if len(file) - at < _HEAD.size:
        return 0, 0
    signature, _, _, length, kind = _HEAD.unpack_from(file, at)
    return (length, kind) if signature == SIGNATURE else (0, 0)


def _find_container(file: mmap, start: int) -> int:
    """Byte at which the next container begins, or -1."""
    at = file.find(_START, start)
    while at >= 0:
        if len(file) - at < _HEAD.size or _HEAD.unpack_from(file, at)[4] == CONTAINER:
            return at
        at = file.find(_START, at + 4)
    return -1


def _stream_bytes(file: mmap, at: int, end: int, kind: int) -> bytes | None:
    """What the object at `at` adds to the stream: nothing for most types; None where it is damaged."""
    if kind != CONTAINER:
        return file[at:end] if kind in FRAME_TYPES else b""
    if end - at < _BODY:
        return None
    packing, unpacked_size = _PACKING.unpack_from(file, at + _HEAD.size)
    body = file[at + _BODY : end]
    if packing == _UNPACKED:
        return body
    if packing != _ZLIB:
        return None
    try:
        return zlib.decompress(body, bufsize=max(1, min(unpacked_size, _BIGGEST)))
    except zlib.error:
        return None


def _unpack_start(file: mmap, at: int) -> bytes:
    """What can be unpacked of the container that the end of the file cuts."""
    if len(file) - at < _BODY or _length_and_type(file, at)[1] != CONTAINER:
        return b""
    packing, _ = _PACKING.unpack_from(file, at + _HEAD.size)
    body = file[at + _BODY :]
    if packing == _UNPACKED:
        return body
    try:
        return zlib.decompressobj().decompress(body) if packing == _ZLIB else b""
    except zlib.error:
        return b""
