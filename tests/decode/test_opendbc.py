"""Every message of every DBC file in the package `opendbc`, decoded as cantools decodes it.

Source of the expected numbers: cantools, `Message.decode`, for 200 random payloads a message. Files
that cantools refuses are compared too, after the same statements were left out for both.
"""

import zlib
from pathlib import Path

import cantools
import numpy as np
import opendbc
import pytest

from busprobe.decode.database import load
from busprobe.decode.messages import decode_rows
from busprobe.decode.parsing import parse
from busprobe.errors import DatabaseError
from busprobe.frames import FD, FrameBatch, Tail

ROOT = Path(opendbc.__file__).parent
FILES = sorted(ROOT.rglob("*.dbc"))
PAYLOADS, CUT_PAYLOADS = 200, 20

WITHOUT_MESSAGES = {
    "acura_ilx_2016_can.dbc", "acura_rdx_2020_can.dbc", "honda_civic_hatchback_ex_2017_can.dbc",
    "honda_common_canfd.dbc", "honda_crv_touring_2016_can.dbc", "honda_e_advance_2020_can.dbc",
    "honda_odyssey_exl_2018.dbc", "honda_odyssey_twn_2018.dbc",
}  # fmt: skip
"""Files that only name other files to be joined."""

UNMARKED_MULTIPLEXER = {("vw_pq.dbc", "Motor_2")}
"""SG_MUL_VAL_ names a signal as multiplexer that SG_ does not mark with M: cantools never decodes what it selects."""

LEFT_OUT_THOUGH_ACCEPTED: set[tuple[str, str]] = set()
"""Messages of which signals are left out although cantools accepts them in its strict mode: none."""


def written_messages(path):
    """(messages as cantools has them, whether cantools reads the file as it is)."""
    try:
        return cantools.database.load_file(path, strict=False).messages, True
    except cantools.database.UnsupportedDatabaseFormatError:
        return parse(path.read_text("utf-8"), "dbc").messages, False


def reference_message(message, layout):
    """The message of cantools with the signals that busprobe uses; strict, so that cantools checks them too."""
    signals = [s for s in message.signals if s.name not in layout.left_out]
    for signal in signals:
        signal.is_multiplexer = layout.signal(signal.name).is_multiplexer
    return cantools.database.can.Message(
        message.frame_id,
        message.name,
        message.length,
        signals,
        is_extended_frame=message.is_extended_frame,
        strict=True,
    )


def set_bits(payload, signal, raw):
    """Writes a raw value into a bytearray, bit by bit."""
    for weight in range(signal.length):
        if signal.big_endian:
            place = (signal.start ^ 7) + signal.length - 1 - weight
            byte, bit = place // 8, 7 - place % 8
        else:
            byte, bit = divmod(signal.start + weight, 8)
        payload[byte] = payload[byte] & ~(1 << bit) | ((raw >> weight) & 1) << bit


def random_payloads(rng, layout, count):
    """Payloads in which every multiplexer selects something."""
    selections = {}
    for signal in layout.signals:
        if signal.multiplexer:
            name, ranges = signal.multiplexer[-1]
            selections.setdefault(name, []).extend(raw for low, high in ranges for raw in range(low, high + 1))
    out = []
    for _ in range(count):
        payload = bytearray(rng.bytes(layout.length))
        for name, values in selections.items():
            set_bits(payload, layout.signal(name), values[rng.integers(len(values))])
        out.append(bytes(payload))
    return out


def batch_of(payloads, layout):
    padded = np.array([list(p.ljust(64, b"\0")) for p in payloads], np.uint8).reshape(len(payloads), 64)
    words = padded.view("<u8").astype(np.uint64)
    n = len(payloads)
    return FrameBatch(
        np.arange(n, dtype=np.int64), ("bus",), np.zeros(n, np.uint8), np.full(n, layout.identifier, np.uint32),
        np.full(n, layout.is_extended + FD * layout.is_fd, np.uint8), np.array([len(p) for p in payloads], np.uint8),
        words[:, 0].copy(), Tail(np.arange(n), words[:, 1:].copy()) if layout.length > 8 else None,
    )  # fmt: skip


def assert_same(layout, payloads, raw_dicts, value_dicts):
    samples = decode_rows(batch_of(payloads, layout), np.arange(len(payloads)), layout)
    assert [s.layout.name for s in samples] == [s.name for s in layout.signals]
    for sample in samples:
        name = sample.layout.name
        present = np.array([name in d for d in raw_dicts])
        ours = np.ones(len(payloads), bool) if sample.present is None else sample.present
        assert np.array_equal(ours, present), name
        raw = np.array([d[name] for d in raw_dicts if name in d], sample.raw.dtype)
        assert np.array_equal(sample.raw[present], raw, equal_nan=sample.layout.is_float), name
        value = np.array([float(d[name]) for d in value_dicts if name in d])
        near = np.abs(value) * (np.finfo(float).eps if sample.layout.length > 53 else 0)  # beyond 2**53: as float
        assert np.all(np.abs(sample.value[present] - value) <= near), name


@pytest.mark.parametrize("path", FILES, ids=[str(f.relative_to(ROOT / "dbc")) for f in FILES])
def test_as_cantools(path):
    messages, is_readable = written_messages(path)
    if path.name in WITHOUT_MESSAGES:
        assert not messages
        with pytest.raises(DatabaseError, match="has no message that can be used"):
            load(path)
        return
    database = load(path)
    by_name = {m.name: m for m in messages}
    assert messages
    assert len(by_name) == len(messages)
    assert [m.name for m in database.messages] == list(by_name)
    assert is_readable or database.faulty
    rng = np.random.default_rng(zlib.crc32(path.name.encode()))
    accepted, unmarked = set(), set()
    for layout in database.messages:
        message = by_name[layout.name]
        assert {s.name for s in message.signals} == {s.name for s in layout.signals} | set(layout.left_out)
        try:
            message.refresh(strict=True)
        except cantools.database.Error:
            assert layout.left_out, f"cantools refuses {layout.name}, busprobe does not"
        else:
            if layout.left_out:
                accepted.add((path.name, layout.name))
        if {s.name for s in message.signals if s.is_multiplexer} < {s.name for s in layout.signals if s.is_multiplexer}:
            unmarked.add((path.name, layout.name))
        reference = reference_message(message, layout)
        payloads = random_payloads(rng, layout, PAYLOADS)
        raw = [reference.decode(p, decode_choices=False, scaling=False) for p in payloads]
        value = [reference.decode(p, decode_choices=False) for p in payloads]
        assert_same(layout, payloads, raw, value)
        cut = [p[: rng.integers(len(p) + 1)] for p in payloads[:CUT_PAYLOADS]]
        raw = [reference.decode(p, decode_choices=False, scaling=False, allow_truncated=True) for p in cut]
        value = [reference.decode(p, decode_choices=False, allow_truncated=True) for p in cut]
        assert_same(layout, cut, raw, value)
    assert accepted == {x for x in LEFT_OUT_THOUGH_ACCEPTED if x[0] == path.name}
    assert unmarked == {x for x in UNMARKED_MULTIPLEXER if x[0] == path.name}


def test_all_files_are_there():
    """No file is passed over: opendbc 0.3.1 has 115, of which 107 have messages."""
    assert len(FILES) == 115
    assert {f.name for f in FILES} > WITHOUT_MESSAGES
    assert len(FILES) - len(WITHOUT_MESSAGES) == 107
