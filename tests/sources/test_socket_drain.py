"""Frames taken straight from a socket: python-can must find the same in the same datagrams."""

from __future__ import annotations

import contextlib
import socket
import struct
import sys
import time
from collections.abc import Iterator, Sequence
from itertools import count

import can
import numpy as np
import pytest
from can.interfaces.udp_multicast.utils import pack_message, unpack_message
from hypothesis import given
from hypothesis import strategies as st
from msgpack import packb

from busprobe.bench.model import Bus
from busprobe.frames import ERROR, EXTENDED, SENT, FrameBatch
from busprobe.sources.datagram_forms import KernelForm, MulticastForm, form_of
from busprobe.sources.received import frames_of_messages
from busprobe.sources.socket_drain import TIMESPEC, Datagram, Form, SocketDrain, kernel_stamps
from tests.sources.live_reading import opened, other_end, udp_bus

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="SO_TIMESTAMPNS and MSG_DONTWAIT are of Linux")
SO_TIMESTAMPNS = 35
"""Linux include/uapi/asm-generic/socket.h."""
MARK = "ours"
START_NS = 1_000_000_000


def datagram(data: bytes, flags: int = 0, stamp_ns: int = 1_700_000_000_000_000_000) -> Datagram:
    stamp = struct.pack("@ll", *divmod(stamp_ns, 1_000_000_000))
    return data, [(socket.SOL_SOCKET, SO_TIMESTAMPNS, stamp)], flags, None


def assert_same(found: FrameBatch, wanted: FrameBatch) -> None:
    for name in ("identifier", "flags", "length", "payload", "channel"):
        assert getattr(found, name).tolist() == getattr(wanted, name).tolist(), name
        assert getattr(found, name).dtype == getattr(wanted, name).dtype, name
    assert (found.tail, found.channels) == (wanted.tail, wanted.channels)


def by_python_can(form: Form, datagrams: Sequence[Datagram]) -> FrameBatch:
    messages = [form.message(one, 1.0) for one in datagrams]
    return frames_of_messages(
        [message for message in messages if message is not None], np.zeros(len(messages), np.int64), "body"
    )


kernel_frames = st.builds(
    lambda number, extended, length, data: struct.pack("=IB3x8s", number | extended, length, data),
    st.integers(0, 0x1FFFFFFF),
    st.sampled_from([0, 0x80000000]),
    st.integers(0, 8),
    st.binary(min_size=8, max_size=8),
)


@given(st.lists(st.tuples(kernel_frames, st.sampled_from([0, socket.MSG_DONTROUTE])), min_size=1, max_size=20))
def test_data_frames_of_the_kernel_are_what_python_can_finds(frames: list[tuple[bytes, int]]) -> None:
    """struct can_frame; bytes past the length are no payload, whatever the driver left in them."""
    datagrams = [datagram(data, flags) for data, flags in frames]
    found = KernelForm().plain(datagrams, np.zeros(len(datagrams), np.int64), "body")
    assert found is not None
    assert_same(found, by_python_can(KernelForm(), datagrams))


PLAIN = struct.pack("=IB3x8s", 0x123, 2, b"\xaa\xbb" + bytes(6))


@pytest.mark.parametrize(
    "data",
    [
        struct.pack("=IB3x8s", 0x123 | 0x40000000, 4, bytes(8)),
        struct.pack("=IB3x8s", 0x040 | 0x20000000, 8, bytes(8)),
        struct.pack("=IB2xB8s", 0x123, 8, 12, bytes(8)),
        struct.pack("=IBB2x64s", 0x123, 12, 1, bytes(64)),
        PLAIN[:10],
    ],
    ids=["remote", "error", "length code above 8", "CAN FD", "half a frame"],
)
def test_what_is_no_classic_data_frame_is_left_to_python_can(data: bytes) -> None:
    datagrams = [datagram(PLAIN), datagram(data)]
    assert KernelForm().plain(datagrams[:1], np.zeros(1, np.int64), "body") is not None
    assert KernelForm().plain(datagrams, np.zeros(2, np.int64), "body") is None


payloads = st.binary(max_size=8)
messages = st.builds(
    lambda number, extended, data, mark: can.Message(
        arbitration_id=number if extended else number & 0x7FF, is_extended_id=extended, data=data, channel=mark
    ),
    st.integers(0, 0x1FFFFFFF),
    st.booleans(),
    payloads,
    st.sampled_from([None, "", MARK, "theirs", 7]),
)


@given(st.lists(messages, min_size=1, max_size=20))
def test_datagrams_of_multicast_are_what_python_can_finds(sent: list[can.Message]) -> None:
    datagrams = [datagram(pack_message(message)) for message in sent]
    form = MulticastForm(MARK, takes_fd=True)
    found = form.plain(datagrams, np.zeros(len(sent), np.int64), "body")
    assert found is not None
    for message in sent:
        message.is_rx = message.channel != MARK
    assert_same(found, frames_of_messages(sent, np.zeros(len(sent), np.int64), "body"))


FIELDS = {
    "timestamp": 0.0, "arbitration_id": 0x123, "is_extended_id": False, "is_remote_frame": False,
    "is_error_frame": False, "channel": None, "dlc": 2, "data": b"\x01\x02", "is_fd": False,
    "bitrate_switch": False, "error_state_indicator": False,
}  # fmt: skip


@pytest.mark.parametrize(
    "odd",
    [
        {"arbitration_id": 0x800}, {"arbitration_id": -1}, {"arbitration_id": 291.5},
        {"arbitration_id": 0x20000000, "is_extended_id": True}, {"dlc": 3}, {"dlc": 9, "data": bytes(9)},
        {"dlc": 300}, {"dlc": None}, {"data": None}, {"data": "ab"}, {"is_extended_id": 2}, {"more": 1},
        {"is_remote_frame": True, "data": b""}, {"is_error_frame": True}, {"is_fd": True}, {"bitrate_switch": True},
        {"arbitration_id": "291"},
    ],
    ids=str,
)  # fmt: skip
def test_fields_that_are_not_plain_are_left_to_python_can(odd: dict[str, object]) -> None:
    form = MulticastForm("", takes_fd=True)
    both = [
        datagram(packb(FIELDS)),
        datagram(packb({**FIELDS, **odd})),
    ]
    assert form.plain(both[:1], np.zeros(1, np.int64), "body") is not None
    assert form.plain(both, np.zeros(2, np.int64), "body") is None


@pytest.mark.parametrize(
    "data", [b"", b"hello", b"\xc1", packb(7), packb([1] * 11), packb({1: 2}), packb({**FIELDS})[:-1]]
)
def test_what_is_no_map_of_a_frame_is_left_to_python_can(data: bytes) -> None:
    assert MulticastForm("", takes_fd=True).plain([datagram(data)], np.zeros(1, np.int64), "body") is None
    with pytest.raises(Exception):  # noqa: B017, PT011
        unpack_message(data, check=True)


def test_fd_frames_are_passed_over_where_the_bus_is_classic() -> None:
    long = datagram(pack_message(can.Message(data=bytes(12), is_fd=True)))
    assert MulticastForm("", takes_fd=True).message(long, 1.0) is not None
    assert MulticastForm("", takes_fd=False).message(long, 1.0) is None


# The drain itself, over sockets that the kernel stamps.


@contextlib.contextmanager
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    """Two ends of a socket that keeps datagrams apart, like a CAN socket."""
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    with near, far:
        near.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
        yield near, far


def drain_of(near: socket.socket, *, naps: bool = True) -> SocketDrain:
    """Its clock goes on by 1 ms whenever it is read: so many looks fit in, whatever the machine does."""
    bus, times = Bus("body", "socketcan", "can0"), count(START_NS, 1_000_000)
    return SocketDrain(bus, near.fileno(), KernelForm(), lambda: next(times), "", naps=naps)


@pytest.mark.parametrize("naps", [True, False])
def test_frames_of_a_kernel_socket(naps: bool) -> None:
    with pair() as (near, far):
        drain, now_ns = drain_of(near, naps=naps), time.time_ns()
        for data in (PLAIN, struct.pack("=IB3x8s", 0x18FEF100 | 0x80000000, 8, bytes(range(8)))):
            far.send(data)
        haul = drain.take(START_NS + 20_000_000)
        drain.close()
    assert haul.frames.identifier.tolist() == [0x123, 0x18FEF100]
    assert haul.frames.flags.tolist() == [0, EXTENDED]
    assert haul.frames.payload.tolist() == [0xBBAA, 0x0706050403020100]
    assert (abs(haul.frames.t_ns - now_ns) < 60_000_000_000).all()
    assert haul.empty_ns is not None
    assert (haul.arrivals_ns <= haul.empty_ns).all()
    assert (drain.unreadable, drain.fault, haul.errors) == (0, None, ())


def test_frames_around_an_error_frame_keep_their_order_and_stamps() -> None:
    with pair() as (near, far):
        drain = drain_of(near)
        far.send(PLAIN)
        far.send(struct.pack("=IB3x8s", 0x004 | 0x20000000, 8, b"\0\x10" + bytes(6)))
        far.send(PLAIN[:5])
        far.send(PLAIN)
        haul = drain.take(START_NS + 10_000_000)
        drain.close()
    assert haul.frames.flags.tolist() == [0, ERROR, 0]
    assert [error.arbitration_id for error in haul.errors] == [0x004]
    assert (np.diff(haul.frames.t_ns) > 0).all()
    assert drain.unreadable == 1


def test_more_datagrams_than_are_taken_at_once() -> None:
    with pair() as (near, far):
        drain = drain_of(near, naps=False)
        near.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        far.setblocking(False)
        sent = 0
        with contextlib.suppress(BlockingIOError):
            for _ in range(3000):
                far.send(PLAIN)
                sent += 1
        haul = drain.take(START_NS + 50_000_000)
        drain.close()
    assert len(haul.frames) == sent > 0


def test_an_interface_that_goes_down_is_a_fault() -> None:
    with pair() as (near, far):
        drain = drain_of(near)
        far.send(PLAIN)
        drain.close()
        haul = drain.take(START_NS + 10_000_000)
    assert len(haul.frames) == 0
    assert drain.fault is not None
    assert 'Bus "body": the adapter at "can0" is gone' in str(drain.fault)


def test_datagrams_without_a_stamp_have_their_arrival() -> None:
    told = [datagram(PLAIN, stamp_ns=5_000_000_007), (PLAIN, [], 0, None), datagram(PLAIN, stamp_ns=9_000_000_000)]
    assert kernel_stamps(told, np.array([1, 2, 3], np.int64)).tolist() == [5_000_000_007, 2, 9_000_000_000]
    assert TIMESPEC.itemsize == struct.calcsize("@ll")


def test_own_frames_among_others_on_a_multicast_bus_with_an_odd_one() -> None:
    form = MulticastForm(MARK, takes_fd=True)
    own = datagram(pack_message(can.Message(arbitration_id=1, is_extended_id=False, channel=MARK)))
    found = form.plain([own], np.zeros(1, np.int64), "body")
    assert found is not None
    assert found.flags.tolist() == [SENT]


def test_which_devices_are_read_straight_from_their_socket() -> None:
    bus = udp_bus()
    with other_end(bus) as device:
        assert isinstance(form_of(device, "udp_multicast", ""), MulticastForm)
        assert form_of(device, "virtual", "") is None
        device.set_filters([{"can_id": 1, "can_mask": 0x7FF}])
        assert form_of(device, "udp_multicast", "") is None
    with opened(udp_bus()) as source:
        assert isinstance(source._connection._drain, SocketDrain)  # type: ignore[union-attr]


def test_what_comes_after_a_look_and_before_the_clock_is_read_was_not_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The program is held up for 1.6 s right after it found nothing: nothing is complete up to then."""
    with pair() as (near, far):
        now = [1_000_000_000]
        drain = SocketDrain(
            Bus("body", "socketcan", "can0"), near.fileno(), KernelForm(), lambda: now[0], "", naps=True
        )
        sweep, held = drain._sweep, []

        def held_up(datagrams: list[Datagram]) -> bool:
            is_empty = sweep(datagrams)
            if not held:
                held.append(1)
                far.send(PLAIN)
                now[0] += 1_600_000_000
            return is_empty

        monkeypatch.setattr(drain, "_sweep", held_up)
        haul = drain.take(1_050_000_000)
        assert (len(haul.frames), haul.empty_ns) == (0, 1_000_000_000)
        now[0] += 1_000_000
        monkeypatch.setattr(
            "busprobe.sources.socket_drain.time.sleep", lambda _: now.__setitem__(0, now[0] + 50_000_000)
        )
        haul = drain.take(now[0] + 50_000_000)
        drain.close()
    assert (haul.after_ns.tolist(), haul.arrivals_ns.tolist()) == ([1_000_000_000], [2_601_000_000])
