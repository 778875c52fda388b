"""The live van on loopback, heard by python-can, decoded by cantools, its box read by the live drivers."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator

import can
import cantools
import numpy as np
import pytest

from busprobe.bench.load import loads
from busprobe.bench.model import Bench
from busprobe.errors import BusprobeError
from busprobe.session.vehicle import vehicle_live
from busprobe.sources.boxes import open_box
from busprobe.sources.clock import Clock
from busprobe.sources.ports import van_port
from busprobe.van.box import WIRES
from busprobe.van.database import database_text
from busprobe.van.diagnostics import VIN
from busprobe.van.live import Van
from busprobe.van.live_faults import LIVE_FAULTS, Spell
from busprobe.van.samples import bench_text
from busprobe.van.schedule import Schedule
from busprobe.van.script import END_NS
from busprobe.van.steps import ns
from busprobe.van.van_units import PIDS, van_units

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals")

DATABASE = cantools.database.load_string(database_text(), "dbc")
PATIENCE_S = 60.0
"""How long a test waits for what comes at once on an idle machine."""


@pytest.fixture
def bench_of(udp_port: int) -> Callable[..., Bench]:
    """The shipped bench file on a bus and port that no other test uses, with further replacements."""

    def read(*changes: tuple[str, str]) -> Bench:
        text = bench_text().replace("port = 43113", f"port = {udp_port}").replace('"van-box"', f'"van-{udp_port}"')
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        return loads(text)

    return read


def frames_of(bus: can.BusABC, seconds: float = PATIENCE_S) -> Iterator[can.Message]:
    """Frames as they come."""
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        frame = bus.recv(left)
        if frame is not None:
            yield frame


def first(bus: can.BusABC, wanted: Callable[[can.Message], bool], seconds: float = PATIENCE_S) -> can.Message | None:
    return next((frame for frame in frames_of(bus, seconds) if wanted(frame)), None)


def request(data: str, identifier: int = 0x7DF) -> can.Message:
    return can.Message(arbitration_id=identifier, is_extended_id=False, data=bytes.fromhex(data).ljust(8, b"\0"))


def test_frames_are_those_of_the_drive_in_their_order(bench_of, udp_bus):
    from_ns = ns(100)
    with Van(bench_of(), seed=3, from_ns=from_ns) as van:
        heard = [frame for frame, _ in zip(frames_of(udp_bus), range(250), strict=False)]
    due = Schedule(3).piece(from_ns, ns(5)).frames
    assert len(heard) == 250
    assert [frame.arbitration_id for frame in heard] == due.identifier[:250].tolist()
    payloads = [int(p).to_bytes(8, "little")[:n] for p, n in zip(due.payload[:250], due.length[:250], strict=True)]
    assert [bytes(frame.data) for frame in heard] == payloads
    known = {message.frame_id for message in DATABASE.messages}
    values = [DATABASE.decode_message(f.arbitration_id, f.data) for f in heard if f.arbitration_id in known]
    assert {str(v["SelectedGear"]) for v in values if "SelectedGear" in v} == {"Drive"}
    assert van.trouble is None
    assert van.frames_sent >= 250


def test_frames_keep_the_pace_of_the_drive(bench_of, udp_bus):
    """No frame before its time: 250 frames take as long as they are due."""
    from_ns = ns(100)
    due = Schedule(1).piece(from_ns, ns(5)).frames.t_ns - from_ns
    with Van(bench_of(), from_ns=from_ns) as van:
        for _ in zip(frames_of(udp_bus), range(250), strict=False):
            pass
        assert van.run_ns >= due[249]


def test_requests_of_others_are_answered(bench_of, udp_bus):
    unplugged = Spell(LIVE_FAULTS["tester unplugged"], 0, END_NS)
    with Van(bench_of(), from_ns=ns(100), spells=[unplugged]) as van:
        assert next(frames_of(udp_bus)) is not None
        udp_bus.send(request("02 09 02"))
        begin = first(udp_bus, lambda f: f.arbitration_id == 0x7E8)
        assert begin is not None
        udp_bus.send(request("30 00 00", 0x7E0))
        rest = [first(udp_bus, lambda f: f.arbitration_id == 0x7E8) for _ in range(2)]
        assert (begin.data[2:] + rest[0].data[1:] + rest[1].data[1:]).hex() == "490201" + VIN.encode().hex()
        udp_bus.send(request("02 01 0D"))
        speed = first(udp_bus, lambda f: f.arbitration_id == 0x7E8)
        world, place_ns = van.schedule.world_at(van.drive_ns)
        assert speed.data[:3].hex() == "03410d"
        assert abs(speed.data[3] - world.value("vehicle_speed", np.array([place_ns]))[0]) < 10
    assert van.answers_sent == 4


def test_a_reading_of_its_own_while_the_other_tester_is_silent(bench_of, udp_port, tmp_path):
    file = tmp_path / "asking.toml"
    text = bench_text().replace("port = 43113", f"port = {udp_port}").replace('databases = ["patrol_van.dbc"]', "")
    file.write_text(text.replace("listen_only = true ", "listen_only = false"), encoding="utf-8")
    unplugged = Spell(LIVE_FAULTS["tester unplugged"], 0, END_NS)
    with Van(bench_of(), from_ns=ns(120), spells=[unplugged]):
        report = vehicle_live(file, allow_requests=True, say=lambda _: None, listen_ns=ns(2))
    assert report.requests > 0
    assert (report.tester, report.read.vins) == (None, (VIN,))


@pytest.mark.parametrize(("from_s", "fault"), [(1, None), (100, "bus silent")])
def test_no_answer_without_ignition_or_bus(from_s, fault, bench_of, udp_bus):
    spells = [Spell(LIVE_FAULTS[fault], 0, END_NS)] if fault else []
    with Van(bench_of(), from_ns=ns(from_s), spells=spells):
        udp_bus.send(request("02 01 0D"))
        assert first(udp_bus, lambda f: f.arbitration_id == 0x7E8, 0.5) is None


def test_values_of_the_control_units():
    """Bytes of SAE J1979 (from memory), over the quantities that they stand for, at 100 s."""
    schedule, t_ns = Schedule(1), ns(100)
    (engine, gearbox) = van_units(schedule.world_at).units
    data = {pid: int.from_bytes(engine.pids[pid](t_ns), "big") for pid in PIDS}
    world, place_ns = schedule.world_at(t_ns)

    def value(name: str) -> float:
        return float(world.value(name, np.array([place_ns]))[0])

    assert data[0x0C] / 4 == pytest.approx(value("engine_speed"), abs=0.25)
    assert data[0x0D] == pytest.approx(value("vehicle_speed"), abs=1)
    assert data[0x42] / 1000 == pytest.approx(value("battery"), abs=0.001)
    assert data[0x05] - 40 == pytest.approx(value("coolant_temperature"), abs=1)
    assert data[0x11] * 100 / 255 == pytest.approx(value("throttle"), abs=0.4)
    assert data[0x1F] == 84  # the engine starts at 15.6 s
    assert gearbox.pids == {}


DRIVERS = [('driver = "text-lines"', 'driver = "text-lines"'), ('driver = "text-lines"', 'driver = "modbus"')]


@pytest.mark.parametrize("driver", DRIVERS, ids=["text-lines", "modbus"])
def test_the_input_box_is_read_by_its_driver(driver, bench_of, udp_port):
    bench = bench_of(driver, ('period = "10 ms"', 'period = "20 ms"\ntimeout = "5 s"'))
    from_ns = ns(171)  # Park, side door open
    with Van(bench, from_ns=from_ns) as van:
        link = van_port(f"van-{udp_port}")
        assert os.path.realpath(link) == van.port
        box = open_box(bench.boxes[0])
        box.open(Clock())
        try:
            seen: list[tuple[int, list[int]]] = []
            end = time.monotonic() + PATIENCE_S
            while len(seen) < 20 and time.monotonic() < end:
                batch = box.read()
                seen += zip(batch.mask.tolist(), batch.analogue.tolist(), strict=True)
        finally:
            box.close()
    assert len(seen) >= 20
    lines = {wire.name: {mask >> number & 1 for mask, _ in seen} for number, wire in enumerate(WIRES)}
    assert lines["side_door_pin"] == {0}  # to ground
    assert lines["rear_door_pin"] == {1}
    assert lines["ignition_sense"] == {1}
    assert lines["strip"] == {1}
    assert all(13_800 < volts[0] < 14_400 for _, volts in seen)
    assert not link.is_symlink()


def test_a_fault_set_while_driving_takes_effect_and_ends(bench_of, udp_bus):
    silent = LIVE_FAULTS["bus silent"]
    with Van(bench_of(), from_ns=ns(100)) as van:
        assert next(frames_of(udp_bus), None) is not None
        van.toggle(silent)
        assert _until(lambda: van.schedule.active(van.drive_ns) == [silent])
        assert _silence(udp_bus)
        van.toggle(silent)
        assert _until(lambda: van.schedule.active(van.drive_ns) == [])
        assert next(frames_of(udp_bus), None) is not None


def _until(is_so: Callable[[], bool]) -> bool:
    end = time.monotonic() + PATIENCE_S
    while not is_so() and time.monotonic() < end:
        time.sleep(0.01)
    return is_so()


def _silence(bus: can.BusABC) -> bool:
    """Whether within the time of patience nothing is heard for 0.3 s."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if bus.recv(0.3) is None:
            return True
    return False


def test_van_on_a_virtual_bus(bench_of):
    bench = bench_of(('interface = "udp_multicast"', 'interface = "virtual"'))
    with can.Bus(interface="virtual", channel=bench.buses[0].channel) as bus, Van(bench, from_ns=ns(100)):
        assert len([frame for frame, _ in zip(frames_of(bus), range(50), strict=False)]) == 50


def test_closing_ends_thread_and_port(bench_of, udp_port):
    van = Van(bench_of(), from_ns=ns(100)).start()
    van.close()
    assert not van_port(f"van-{udp_port}").is_symlink()
    sent = van.frames_sent
    van.close()
    assert van.frames_sent == sent


def test_a_van_that_was_never_started_closes_too(bench_of, udp_port):
    Van(bench_of()).close()
    assert not van_port(f"van-{udp_port}").is_symlink()


BAD_BENCHES = [
    (
        'interface = "udp_multicast"',
        'interface = "socketcan"',
        'The bus "body" has the interface "socketcan": the simulated van sends on no real bus.',
        'Write interface = "udp_multicast" for it.',
    ),
    (
        'port = "van-',
        'port = "/dev/ttyUSB',
        'The input box "box" has the port "/dev/ttyUSBPORT", which is not the simulated van\'s.',
        'Write port = "van-box" for it, or another name that begins with "van-".',
    ),
    (
        'driver = "text-lines"',
        'driver = "modem-lines"',
        'The simulated van has no input box with the driver "modem-lines".',
        'It has "text-lines" and "modbus".',
    ),
]


@pytest.mark.parametrize(("old", "new", "message", "hint"), BAD_BENCHES, ids=["bus", "port", "driver"])
def test_a_bench_file_that_is_not_for_the_van(old, new, message, hint, bench_of, udp_port):
    bench = bench_of((old, new))
    with pytest.raises(BusprobeError) as error:
        Van(bench)
    line = (bench.buses[0] if "bus" in message[:8] else bench.boxes[0]).origin.line
    assert str(error.value).replace(str(udp_port), "PORT") == f"line {line}: {message}\n{hint}"


def test_other_buses_of_the_bench_file_are_left_alone(bench_of):
    with Van(bench_of(("[[inputs]]\n", '[[bus]]\nname = "drive"\ninterface = "socketcan"\n\n[[inputs]]\n'))) as van:
        assert van.bus.name == "body"


def test_a_bench_file_without_the_vans_bus():
    buses = "".join(f'[[bus]]\nname = "{name}"\ninterface = "virtual"\n' for name in ("drive", "cab"))
    with pytest.raises(BusprobeError) as error:
        Van(loads(f'[vehicle]\nname = "Van"\n{buses}'))
    assert str(error.value) == (
        'The simulated van has one bus, "body"; the bench file names none so.\n'
        'Name the bus "body" that is the simulated van\'s.'
    )
