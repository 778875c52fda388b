"""The rules that every format of a recording obeys: one function a rule.

A format joins by its row in `SAMPLES`: how python-can writes and reads it. python-can is the
outside judge: identifier, flags, length, payload, channel and time of every frame equal what
its own reader returns for a file of its own writer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest
from hypothesis import strategies as st

from busprobe.errors import FormatError, Problems
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SENT, SWITCHED, FrameBatch, join_frames
from busprobe.sources.formats import BATCH_ROWS, Format

FD_LENGTHS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
TOLERANCE_NS = 1_000
"""python-can keeps times as float seconds, 240 ns apart in this century."""


@dataclass(frozen=True)
class Sample:
    """How python-can writes and reads a format, and what its writer can write."""

    suffix: str
    writer: Callable[[Path], Any]
    reader: Callable[[Path], Any]
    last_record: Callable[[bytes], tuple[int, int]]
    """Where the last record of a file begins and ends."""
    at_risk: int = 1
    """Most frames in one record."""
    fd: bool = False
    empty_fd: bool = True
    remote: bool = True
    error: bool = True
    sent: bool = True
    absolute: bool = True
    """Times of both readers have the same zero."""
    steps_back: bool = False
    """The writer keeps a time that is before the last one."""
    channel: str | None = None
    """The name given where a file has no channels."""


def _last_line(content: bytes) -> tuple[int, int]:
    """From its first character that is no blank: before that, nothing of the frame is there."""
    line = content.rstrip().rpartition(b"\n")[2]
    return content.rfind(line.lstrip()), len(content)


def _line_before_last(content: bytes) -> tuple[int, int]:
    stop = content.rstrip().rfind(b"\n") + 1
    return _last_line(content[:stop])[0], stop


def _last_container(content: bytes) -> tuple[int, int]:
    return content.rfind(b"LOBJ"), len(content)


SAMPLES = {
    "candump text": Sample(".log", can.CanutilsLogWriter, can.CanutilsLogReader, _last_line, fd=True),
    "BLF": Sample(
        ".blf",
        lambda path: can.BLFWriter(path, max_container_size=300),
        can.BLFReader,
        _last_container,
        at_risk=8,
        fd=True,
    ),
    "ASC": Sample(".asc", can.ASCWriter, can.ASCReader, _line_before_last, fd=True, empty_fd=False, absolute=False),
    "TRC": Sample(".trc", can.TRCWriter, can.TRCReader, _last_line, remote=False, error=False),
    "CSV of python-can": Sample(
        ".csv", can.CSVWriter, can.CSVReader, _last_line, sent=False, steps_back=True, channel="0"
    ),
}


def messages_of(sample: Sample) -> st.SearchStrategy[list[can.Message]]:
    """Random frames that the format's writer can write, in time order."""
    kinds = ["data"] + ["fd"] * sample.fd + ["remote"] * sample.remote + ["error"] * sample.error

    @st.composite
    def message(draw: st.DrawFn) -> can.Message:
        kind = draw(st.sampled_from(kinds))
        extended = draw(st.booleans())
        common: dict[str, Any] = {"channel": draw(st.integers(0, 3)), "is_rx": draw(st.booleans())}
        if kind == "error":
            return can.Message(is_error_frame=True, **common)
        common["is_extended_id"] = extended
        common["arbitration_id"] = draw(st.integers(0, 0x1FFFFFFF if extended else 0x7FF))
        if kind == "remote":
            return can.Message(is_remote_frame=True, dlc=draw(st.integers(0, 8)), **common)
        if kind == "data":
            return can.Message(data=draw(st.binary(max_size=8)), **common)
        length = draw(st.sampled_from(FD_LENGTHS[0 if sample.empty_fd else 1 :]))
        return can.Message(
            is_fd=True,
            data=draw(st.binary(min_size=length, max_size=length)),
            bitrate_switch=draw(st.booleans()),
            error_state_indicator=draw(st.booleans()),
            **common,
        )

    @st.composite
    def messages(draw: st.DrawFn) -> list[can.Message]:
        found = draw(st.lists(message(), min_size=1, max_size=40))
        t_us = 1_436_509_052_000_000
        for one in found:
            t_us += draw(st.integers(0, 3_000_000))
            one.timestamp = t_us / 1e6
        return found

    return messages()


def drive(count: int = 24) -> list[can.Message]:
    """A plain recording: three identifiers of a fixed length each, two channels."""
    return [
        can.Message(
            timestamp=1_436_509_052.249713 + row * 0.25,
            arbitration_id=(0x123, 0x18FEF100, 0x2A0)[row % 3],
            is_extended_id=row % 3 == 1,
            data=bytes([row, 0xA5, 0x5A, row ^ 0xFF, 1, 2, 3, 4])[: (8, 8, 2)[row % 3]],
            channel=row % 2,
        )
        for row in range(count)
    ]


def write(sample: Sample, path: Path, messages: Sequence[can.Message]) -> Path:
    with sample.writer(path) as writer:
        for message in messages:
            writer.on_message_received(message)
    return path


def read_all(fmt: Format, path: Path, problems: Problems | None = None, rows: int = BATCH_ROWS) -> FrameBatch:
    return join_frames(list(fmt.read(path, problems or Problems(strict=True), rows)))


def same(left: FrameBatch, right: FrameBatch) -> bool:
    """Equal frames; channels by name."""
    return frames(left) == frames(right)


def frames(batch: FrameBatch) -> list[tuple[Any, ...]]:
    words = batch.words()
    return [
        (
            int(batch.t_ns[row]),
            batch.channels[batch.channel[row]],
            int(batch.identifier[row]),
            int(batch.flags[row]),
            int(batch.length[row]),
            words[row].tobytes().ljust(64, b"\0"),
        )
        for row in range(len(batch))
    ]


def flags_of(message: can.Message) -> int:
    return (
        EXTENDED * message.is_extended_id
        | FD * message.is_fd
        | REMOTE * message.is_remote_frame
        | SENT * (not message.is_rx)
        | SWITCHED * message.bitrate_switch
        | PASSIVE * message.error_state_indicator
    )


# The rules


def equals_python_can(fmt: Format, sample: Sample, path: Path, messages: Sequence[can.Message]) -> None:
    write(sample, path, messages)
    batch = read_all(fmt, path)
    with sample.reader(path) as reader:
        expected = list(reader)
    assert len(batch) == len(expected) == len(messages)
    zero_ns, zero_s = (0, 0.0) if sample.absolute else (int(batch.t_ns[0]), expected[0].timestamp)
    for (t_ns, channel, identifier, flags, length, payload), message in zip(frames(batch), expected, strict=True):
        assert abs((t_ns - zero_ns) - (message.timestamp - zero_s) * 1e9) <= TOLERANCE_NS
        assert bool(flags & ERROR) == message.is_error_frame
        if message.is_error_frame:
            continue
        assert channel == (sample.channel or str(message.channel))
        assert (identifier, flags, length) == (message.arbitration_id, flags_of(message), message.dlc)
        data = b"" if message.is_remote_frame else bytes(message.data)
        assert payload == data.ljust(64, b"\0")


def batches_make_the_whole(fmt: Format, sample: Sample, path: Path, messages: Sequence[can.Message]) -> None:
    write(sample, path, messages)
    whole = read_all(fmt, path)
    for rows in (1, 2, 7, len(whole)):
        assert same(read_all(fmt, path, rows=rows), whole), rows


def batches_are_about_as_large_as_asked(fmt: Format, sample: Sample, path: Path) -> None:
    write(sample, path, drive(100))
    sizes = [len(batch) for batch in fmt.read(path, Problems(strict=True), 20)]
    assert max(sizes) <= 40
    assert sum(sizes) == 100


def share_rises_to_one(fmt: Format, sample: Sample, path: Path) -> None:
    write(sample, path, drive())
    shares = [batch.share for batch in fmt.read(path, Problems(strict=True), 5)]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def channels_only_grow(fmt: Format, sample: Sample, path: Path) -> None:
    messages = drive()
    for row, message in enumerate(messages):
        message.channel = row // 8
    write(sample, path, messages)
    known: tuple[str, ...] = ()
    for batch in fmt.read(path, Problems(strict=True), 3):
        assert batch.channels[: len(known)] == known
        assert not len(batch) or batch.channel.max() < len(batch.channels)
        known = batch.channels
    assert len(known) == (1 if sample.channel else 3)


def is_complete_to_the_newest_frame(fmt: Format, sample: Sample, path: Path) -> None:
    """Also where the stamps step back."""
    messages = drive()
    if sample.steps_back:
        for message in messages[10:]:
            message.timestamp -= 2
    write(sample, path, messages)
    newest = -1
    for batch in fmt.read(path, Problems(strict=True), 3):
        newest = max([newest, *batch.t_ns.tolist()])
        assert batch.complete_to == newest


def payload_past_the_length_is_zero(fmt: Format, sample: Sample, path: Path, messages: Sequence[can.Message]) -> None:
    write(sample, path, messages)
    for _, _, _, flags, length, payload in frames(read_all(fmt, path)):
        assert not any(payload[0 if flags & REMOTE else length :])


def empty_file_has_no_frames(fmt: Format, path: Path) -> None:
    path.write_bytes(b"")
    try:
        assert len(read_all(fmt, path, Problems())) == 0
    except FormatError as error:
        assert str(path) in str(error)  # noqa: PT017 (refusing is allowed)


def cut_file_loses_its_last_record_only(fmt: Format, sample: Sample, path: Path) -> None:
    """At every byte of the last record: no wrong frame, and a problem says what is lost."""
    content = write(sample, path, drive()).read_bytes()
    whole = frames(read_all(fmt, path))
    start, stop = sample.last_record(content)
    assert 0 < start < stop
    for length in range(start + 1, stop):
        path.write_bytes(content[:length])
        problems = Problems()
        found = frames(read_all(fmt, path, problems))
        assert found == whole[: len(found)], length
        assert len(found) >= len(whole) - sample.at_risk, length
        assert len(found) == len(whole) or problems.count == 1, (length, problems.items)


def strict_stops_at_the_first_damage(fmt: Format, sample: Sample, path: Path) -> None:
    content = write(sample, path, drive()).read_bytes()
    start, stop = sample.last_record(content)
    path.write_bytes(content[: (start + stop) // 2])
    with pytest.raises(FormatError) as caught:
        read_all(fmt, path, Problems(strict=True))
    assert str(path) in str(caught.value)


def only_this_format_claims_it(fmt: Format, formats: Sequence[Format], sample: Sample, path: Path) -> None:
    head = write(sample, path, drive()).read_bytes()[:4096]
    assert [f.name for f in formats if f.looks_like(head)] == [fmt.name]


def arrays_have_the_types_of_a_batch(fmt: Format, sample: Sample, path: Path) -> None:
    write(sample, path, drive())
    for batch in fmt.read(path, Problems(strict=True), BATCH_ROWS):
        found = [getattr(batch, name).dtype for name in ("t_ns", "channel", "identifier", "flags", "length", "payload")]
        assert found == [np.int64, np.uint8, np.uint32, np.uint8, np.uint8, np.uint64]
