"""Live buses through the real drivers: slcan on a pseudo-terminal, UDP multicast on loopback, virtual."""

import ast
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import can
import numpy as np
import pytest
from live_reading import GROUP, collect, opened, other_end, read_until, udp_bus, virtual_bus
from slcan_adapter import SlcanAdapter

import busprobe
from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SENT, SWITCHED
from busprobe.sources import drain, requests, sendable, socket_health
from busprobe.sources.bus import BusSource
from busprobe.sources.clock import Clock
from busprobe.sources.permit import SendPermit, permit_requests

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="asks the Linux kernel")
REQUEST = bytes.fromhex("02010D0000000000")


def slcan(adapter: SlcanAdapter, **more: object) -> Bus:
    return Bus("body", "slcan", adapter.port, 500_000, options={"sleep_after_open": 0}, **more)  # type: ignore[arg-type]


def message(identifier: int = 0x123, data: bytes = b"\xaa\xbb", **more: object) -> can.Message:
    return can.Message(arbitration_id=identifier, data=data, **{"is_extended_id": False, **more})  # type: ignore[arg-type]


# Frames and their times.


def test_frames_of_an_slcan_adapter() -> None:
    with SlcanAdapter() as adapter, opened(slcan(adapter)) as source:
        adapter.frames("t1232AABB", "T18DAF11080102030405060708", "r1004", "t7FF0", "R000001230")
        batch = collect(source, 5)
    assert batch.channels == ("body",)
    assert batch.identifier.tolist() == [0x123, 0x18DAF110, 0x100, 0x7FF, 0x123]
    assert batch.flags.tolist() == [0, EXTENDED, REMOTE, 0, EXTENDED | REMOTE]
    assert batch.length.tolist() == [2, 8, 4, 0, 0]
    assert batch.payload.tolist() == [0xBBAA, 0x0807060504030201, 0, 0, 0]
    assert batch.tail is None


def test_frames_of_another_process_by_udp_multicast() -> None:
    bus = udp_bus()
    port = bus.options["port"]
    code = (
        "import can\n"
        f"bus = can.Bus(interface='udp_multicast', channel='{GROUP}', port={port}, hop_limit=0, ignore_config=True)\n"
        "for k in range(500):\n"
        "    bus.send(can.Message(arbitration_id=k, is_extended_id=False, data=k.to_bytes(8, 'little')))\n"
        "bus.shutdown()\n"
    )
    with opened(bus) as source:
        start_ns = Clock().now_ns()
        other = subprocess.Popen([sys.executable, "-c", code])
        batch = collect(source, 500)
        assert other.wait(60) == 0
        assert source.health().lost == 0
    assert batch.identifier.tolist() == batch.payload.tolist() == list(range(500))
    assert (np.diff(batch.t_ns) >= 0).all()
    assert start_ns <= batch.t_ns[0]
    assert batch.t_ns[-1] <= Clock().now_ns()


@pytest.mark.parametrize("make", [virtual_bus, udp_bus], ids=["virtual", "udp_multicast"])
def test_long_and_marked_frames(make) -> None:
    bus = make()
    long = bytes(range(64))
    with opened(bus) as source, other_end(bus) as other:
        other.send(message(data=b"\x01"))
        other.send(message(data=long, is_fd=True, bitrate_switch=True, error_state_indicator=True))
        other.send(message(data=b"", is_error_frame=True))
        other.send(message(data=long[:12], is_fd=True))
        batch = collect(source, 4)
    assert batch.flags.tolist() == [0, FD | SWITCHED | PASSIVE, ERROR, FD]
    assert batch.length.tolist() == [1, 64, 0, 12]
    assert batch.words()[1].astype("<u8").tobytes() == long
    assert batch.words()[3].astype("<u8").tobytes() == long[:12].ljust(64, b"\0")
    assert batch.tail is not None
    assert batch.tail.rows.tolist() == [1, 3]


@pytest.mark.parametrize("make", [virtual_bus, udp_bus], ids=["virtual", "udp_multicast"])
def test_no_later_frame_comes_before_what_was_said_to_be_complete(make) -> None:
    bus = make()
    complete_ns = 0
    with opened(bus) as source, other_end(bus) as other:
        for turn in range(6):
            for _ in range(20 * (turn % 2)):
                other.send(message())
            batch = source.read()
            assert batch.complete_to_ns is not None
            assert batch.complete_to_ns > complete_ns
            assert (batch.t_ns >= complete_ns).all()
            assert (batch.t_ns <= batch.complete_to_ns).all()
            complete_ns = batch.complete_to_ns
    assert source.health().records == 60


def test_a_silent_bus_gives_empty_batches_that_say_how_far_they_reach() -> None:
    with SlcanAdapter() as adapter, opened(slcan(adapter)) as source:
        clock = Clock()
        batches = [source.read() for _ in range(3)]
        assert [len(batch) for batch in batches] == [0, 0, 0]
        reached = [batch.complete_to_ns for batch in batches]
        assert sorted(set(reached)) == reached
        assert 0 <= clock.now_ns() - reached[-1] < 5_000_000_000
        assert source.health() == replace(source.health(), records=0, errors=0, lost=0, state="")


class HandedOn:
    """A driver that gives messages and nothing else."""

    fileno = can.BusABC.fileno
    state = can.BusABC.state

    def __init__(self, stamps: list[float]) -> None:
        self.waiting = [message(timestamp=stamp) for stamp in stamps]

    def recv(self, timeout: float) -> can.Message | None:
        return self.waiting.pop(0) if self.waiting else None

    def shutdown(self) -> None:
        pass


@pytest.mark.parametrize(
    "stamps", [[0.0, 0.0], [12.0, 12.0], [4e9, 4e9]], ids=["no stamp", "a clock from 0", "of another epoch"]
)
def test_stamps_of_an_adapter_become_event_time(monkeypatch: pytest.MonkeyPatch, stamps: list[float]) -> None:
    monkeypatch.setattr("busprobe.sources.bus.open_bus", lambda bus: (HandedOn(stamps), ""))
    source, clock = BusSource(Bus("body", "pcan", "PCAN_USBBUS1", 500_000)), Clock()
    start_ns = clock.now_ns()
    source.open(clock)
    batch = source.read()
    assert len(batch) == 2
    assert start_ns <= batch.t_ns[0] <= batch.t_ns[1] <= batch.complete_to_ns <= clock.now_ns()
    assert batch.t_ns[1] - batch.t_ns[0] < 1_000_000_000


# What goes wrong while reading.


def test_an_adapter_that_is_unplugged_and_comes_back() -> None:
    source = BusSource(Bus("body"))
    with SlcanAdapter() as adapter:
        source = BusSource(slcan(adapter))
        source.open(Clock())
        adapter.frames("t1232AABB")
        collect(source, 1)
        port = source._connection.device.serialPortOrig  # type: ignore[union-attr]
        adapter.unplug()
        with pytest.raises(DeviceError) as caught:
            read_until(source, lambda: False)
        assert str(caught.value) == (
            f'Bus "body": the adapter at "{adapter.port}" is gone: Input/output error.\n'
            "Plug it in again and look at its power; busprobe goes on with it by itself."
        )
        source.close()
        assert not port.is_open, "the adapter would come back under another name"
        source.close()
    with SlcanAdapter() as again, opened(slcan(again)) as source:
        again.frames("t1230")
        assert len(collect(source, 1)) == 1


def test_a_driver_that_reads_on_without_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    """One driver takes a port that is gone for silence."""
    with SlcanAdapter() as adapter, opened(slcan(adapter)) as source:
        monkeypatch.setattr(source._connection._drain, "_recv", lambda timeout: None)
        source.read()
        adapter.unplug()
        with pytest.raises(DeviceError, match=r'the adapter at ".*" is gone\.\n'):
            source.read()


def test_frames_before_the_unplugging_are_given_first(monkeypatch: pytest.MonkeyPatch) -> None:
    bus = virtual_bus()
    with opened(bus) as source, other_end(bus) as other:
        other.send(message())
        assert source._connection is not None
        real = source._connection.device.recv

        def once(timeout: float) -> can.Message | None:
            found = real(timeout)
            if found is None:
                raise can.CanOperationError("the stick is out")
            return found

        monkeypatch.setattr(source._connection._drain, "_recv", once)
        assert len(source.read()) == 1
        with pytest.raises(DeviceError, match=r"is gone: the stick is out\.\n"):
            source.read()


def test_rubbish_between_frames_is_counted() -> None:
    with SlcanAdapter() as adapter, opened(slcan(adapter)) as source:
        adapter.frames("t1230")
        collect(source, 1)
        adapter.noise(b"\xff\xfe\r")
        adapter.noise(b"tXYZ2AA\r")
        read_until(source, lambda: source.health().errors > 0)
        adapter.frames("t4560")
        assert collect(source, 1).identifier.tolist() == [0x456]


def test_nothing_but_rubbish() -> None:
    with SlcanAdapter() as adapter, opened(slcan(adapter)) as source:
        adapter.noise(b"t1\r" * (drain.HOPELESS + 50))
        with pytest.raises(DeviceError) as caught:
            read_until(source, lambda: False)
        assert str(caught.value) == (
            f'Bus "body": what comes from "{adapter.port}" is not slcan: 200 unreadable pieces, no frame.\n'
            'Look whether it is the right port, and whether the adapter wants another serial speed ("tty_baudrate").'
        )


def test_foreign_datagrams_in_the_group_are_counted() -> None:
    bus = udp_bus()
    with opened(bus) as source, other_end(bus) as other:
        other._multicast.send(b"hello")
        other.send(message())
        assert len(collect(source, 1)) == 1
        assert source.health().errors == 1


def test_a_wrong_bit_rate_is_silence_on_slcan_and_error_frames_elsewhere() -> None:
    with SlcanAdapter(vehicle_rate=250_000) as adapter, opened(slcan(adapter)) as source:
        adapter.frames("t1230")
        assert len(source.read()) == 0
        assert source.health().state == ""
    bus = virtual_bus()
    with opened(bus) as source, other_end(bus) as other:
        for _ in range(30):
            other.send(message(0x008, bytes(8), is_error_frame=True))
        assert (collect(source, 30).flags == ERROR).all()
        assert source.health().errors == 30


PASSIVE_NOW, ACTIVE_NOW = b"\0\x10" + bytes(6), b"\0\x40" + bytes(6)
OVERFLOW = b"\0\x01" + bytes(6)


@pytest.mark.parametrize(
    ("told", "state", "lost"),
    [
        ([], "", 0),
        ([(0x004, PASSIVE_NOW)], "passive", 0),
        ([(0x004, PASSIVE_NOW), (0x004, ACTIVE_NOW)], "active", 0),
        ([(0x040, bytes(8)), (0x100, bytes(8))], "active", 0),
        ([(0x004, OVERFLOW), (0x004, OVERFLOW)], "", 2),
        ([(0x008, PASSIVE_NOW)], "", 0),
    ],
    ids=["nothing told", "passive", "active again", "restarted", "overflow", "another class of error"],
)
def test_state_of_the_controller_from_error_frames(told: list[tuple[int, bytes]], state: str, lost: int) -> None:
    """Bits: Linux include/uapi/linux/can/error.h."""
    bus = virtual_bus()
    with opened(bus) as source, other_end(bus) as other:
        other.send(message())
        for identifier, data in told:
            other.send(message(identifier, data, is_error_frame=True))
        collect(source, 1 + len(told))
        health = source.health()
    assert (health.state, health.lost) == (state, lost)


def test_bus_off() -> None:
    """The error frame that tells it is given, then the source is down: its signals are not merely asleep."""
    bus = virtual_bus()
    with opened(bus) as source, other_end(bus) as other:
        other.send(message(0x040, bytes(8), is_error_frame=True))
        assert collect(source, 1).flags.tolist() == [ERROR]
        with pytest.raises(DeviceError) as caught:
            source.read()
        assert str(caught.value) == (
            'Bus "body": the adapter is bus-off: it met too many errors and has left the bus.\n'
            "Look at the bit rate, at the wires CAN high and CAN low, and for 60 Ω between them; "
            "then opening it again brings it back."
        )
    assert source.health().state == "off"


def test_bus_off_that_only_the_driver_knows(monkeypatch: pytest.MonkeyPatch) -> None:
    class Off(HandedOn):
        state = can.BusState.ERROR

    monkeypatch.setattr("busprobe.sources.bus.open_bus", lambda bus: (Off([1.0]), ""))
    source = BusSource(Bus("body", "ixxat", "0", 500_000))
    source.open(Clock())
    assert len(source.read()) == 1
    with pytest.raises(DeviceError, match="bus-off"):
        source.read()


@linux_only
def test_frames_that_found_no_room_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket_health, "WANTED_BYTES", 0)
    bus = udp_bus()
    with opened(bus) as source, other_end(bus) as other:
        for _ in range(3000):
            other.send(message())
        got = 0
        while batch := source.read():
            got += len(batch)
        assert source.health().lost > 0
        assert got + source.health().lost == 3000


def test_reading_what_was_never_opened() -> None:
    with pytest.raises(DeviceError, match="is gone"):
        BusSource(virtual_bus()).read()


# Sending.

REFUSED_LISTEN_ONLY = (
    'The bus "body" is listen-only: nothing is ever sent on it.\n'
    'To ask for OBD data there, write "listen_only = false" in this [[bus]] and give --allow-requests.'
)


def test_a_listen_only_bus_asked_to_send_refuses() -> None:
    bus = virtual_bus()
    forged = SendPermit("body", "whatever")
    with opened(bus) as source, other_end(bus) as other:
        with pytest.raises(DeviceError) as caught:
            source.send(0x7DF, REQUEST, forged)
        assert str(caught.value) == REFUSED_LISTEN_ONLY
        assert other.recv(0) is None


def test_an_slcan_adapter_is_opened_to_listen_and_is_never_told_to_send() -> None:
    with SlcanAdapter(traffic=("t1230",)) as adapter:
        with opened(slcan(adapter)) as source:
            collect(source, 5)
            with pytest.raises(DeviceError):
                source.send(0x7DF, REQUEST, SendPermit("body", "whatever"))
        assert "L" in adapter.commands
        assert "O" not in adapter.commands
        assert not adapter.sent


def test_an_slcan_adapter_acknowledges_only_where_the_bench_file_says_so() -> None:
    with SlcanAdapter() as adapter, opened(slcan(adapter, listen_only=False)) as source:
        source.send(0x7DF, REQUEST, permit_requests(Bus("body", listen_only=False), True))
        read_until(source, lambda: bool(adapter.sent))
        assert "O" in adapter.commands
        assert list(adapter.sent) == [b"t7DF802010D0000000000"]


@pytest.mark.parametrize(
    ("permit", "frame", "text"),
    [
        (
            None,
            (0x7DF, REQUEST),
            (
                'Nothing is asked on the bus "body" without --allow-requests.\n'
                "With it, busprobe sends standard OBD requests there (services 01, 03, 07, 09 and 0A), "
                "at most 10 a second."
            ),
        ),
        (
            SendPermit("engine", ""),
            (0x7DF, REQUEST),
            'Leave to send on the bus "engine" does not hold for the bus "body".',
        ),
        (
            SendPermit("body", ""),
            (0x7DF, bytes.fromhex("0104000000000000")),
            'The frame "7DF 01 04 00 00 00 00 00 00" is no standard OBD request: it is not sent on the bus "body".',
        ),
        (
            SendPermit("body", ""),
            (0x123, REQUEST),
            'The frame "123 02 01 0D 00 00 00 00 00" is no standard OBD request: it is not sent on the bus "body".',
        ),
    ],
    ids=["no permit", "permit for another bus", "clearing codes", "not an OBD identifier"],
)
def test_refusals_to_send(permit: SendPermit | None, frame: tuple[int, bytes], text: str) -> None:
    bus = virtual_bus(listen_only=False)
    with opened(bus) as source, other_end(bus) as other:
        with pytest.raises(DeviceError) as caught:
            source.send(*frame, permit)  # type: ignore[arg-type]
        assert str(caught.value) == text
        assert other.recv(0) is None


@pytest.mark.parametrize(
    ("identifier", "extended", "data", "passes"),
    [
        (0x7DF, False, "0209 02", True),
        (0x7E0, False, "300000", True),
        (0x7E7, False, "0103", True),
        (0x18DB33F1, True, "02010D", True),
        (0x18DA10F1, True, "300000", True),
        (0x7E8, False, "0103", False),
        (0x7DF, True, "0103", False),
        (0x18DAF1F1, True, "0103", False),
        (0x18DAF110, True, "0103", False),
        (0x7DF, False, "0110", False),
        (0x7DF, False, "022E01", False),
        (0x7DF, False, "10140901", False),
        (0x7DF, False, "", False),
        (0x7DF, False, "02010D000000000000", False),
    ],
)
def test_what_may_go_out(identifier: int, extended: bool, data: str, passes: bool) -> None:
    """ISO 15765-4 identifiers, ISO 15765-2 single frames and flow control, SAE J1979 reading services."""
    try:
        sendable.refuse_frame("body", identifier, bytes.fromhex(data), extended=extended)
    except DeviceError:
        assert not passes
    else:
        assert passes


def test_the_last_look_and_the_requests_agree_on_the_services() -> None:
    assert sendable.SERVICES == requests.SERVICES


@pytest.mark.parametrize("options", [{}, {"receive_own_messages": True}], ids=["not handed back", "handed back"])
def test_a_frame_of_ours_is_given_once_and_flagged(options: dict[str, object]) -> None:
    bus = virtual_bus(listen_only=False, options=options)
    with opened(bus) as source, other_end(replace(bus, options={})) as other:
        sent_ns = source.send(0x18DB33F1, REQUEST, SendPermit("body", ""), extended=True)
        heard = other.recv(5)
        assert heard is not None
        other.send(message(0x7E8))
        batch = collect(source, 2)
    assert (heard.arbitration_id, heard.is_extended_id, bytes(heard.data)) == (0x18DB33F1, True, REQUEST)
    assert batch.identifier.tolist() == [0x18DB33F1, 0x7E8]
    assert batch.flags.tolist() == [EXTENDED | SENT, 0]
    assert abs(batch.t_ns[0] - sent_ns) < 1_000_000_000
    assert batch.t_ns[0] <= batch.t_ns[1]


def test_a_multicast_socket_hears_its_own_frames_and_knows_them() -> None:
    bus = udp_bus(listen_only=False)
    with opened(bus) as source, other_end(bus) as other:
        source.send(0x7DF, REQUEST, SendPermit("body", ""))
        other.send(message(0x7DF, REQUEST))
        batch = collect(source, 2)
        assert len(source.read()) == 0
    assert sorted(batch.flags.tolist()) == [0, SENT]


def test_an_adapter_that_takes_no_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    bus = virtual_bus(listen_only=False)

    def full(*_: object, **__: object) -> None:
        raise can.CanOperationError("Transmit buffer full")

    with opened(bus) as source:
        monkeypatch.setattr(source._connection.device, "send", full)  # type: ignore[union-attr]
        with pytest.raises(DeviceError) as caught:
            source.send(0x7DF, REQUEST, SendPermit("body", ""))
    assert str(caught.value) == (
        'Bus "body": the frame was not sent: Transmit buffer full.\n'
        "Look at the wires and the bit rate: a frame that nobody acknowledges is never done."
    )


def test_there_is_one_send_to_a_bus_in_the_program() -> None:
    """Beside that of the simulated van, which opens no interface that leads to a vehicle."""
    calls = []
    for path in (Path(busprobe.__file__).parent / "sources").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                of_a_device = ast.unparse(node.func.value).split(".")[-1] in ("device", "_device", "bus", "_bus")
                if node.func.attr.startswith("send") and of_a_device:
                    calls.append(path.name)
    assert sorted(set(calls)) == ["bus.py", "simulated_bus.py"]
    assert calls.count("bus.py") == 1


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


@linux_only
def test_nothing_is_left_open() -> None:
    before = open_files()
    for _ in range(3):
        with SlcanAdapter() as adapter, opened(slcan(adapter)) as source:
            source.read()
        bus = udp_bus()
        with opened(bus) as source:
            source.read()
    assert open_files() <= before


def test_filters_given_as_an_option_hold() -> None:
    """Frames are taken past python-can's own `recv` only where that would do nothing more."""
    bus = replace(virtual_bus(), options={"can_filters": [{"can_id": 0x123, "can_mask": 0x7FF}]})
    with opened(bus) as source, other_end(bus) as other:
        for identifier in (0x122, 0x123, 0x124):
            other.send(can.Message(arbitration_id=identifier, is_extended_id=False, data=b"\1"))
        assert collect(source, 1).identifier.tolist() == [0x123]
