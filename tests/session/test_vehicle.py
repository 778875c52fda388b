"""Vehicles asked on python-can's virtual bus, and vehicles in recordings."""

import threading

import pytest
from virtual_vehicle import Vehicle

from busprobe.bench.load import loads
from busprobe.errors import BenchError, BusprobeError, DeviceError
from busprobe.session import vehicle as vehicle_module
from busprobe.session.vehicle import compared, obd_bus, vehicle_live, vehicle_recorded
from busprobe.sources.bus import BusSource
from busprobe.van.control_units import ControlUnit

VIN = "A0TPV3D23TK000012"
BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
interface = "virtual"
channel = "{channel}"
bitrate = 500000
listen_only = {listen_only}
"""
LISTEN_NS = 300_000_000
WAIT_S = 30.0


@pytest.fixture
def bench(tmp_path):
    file = tmp_path / "van.toml"
    file.write_text(BENCH.format(channel=tmp_path.name, listen_only="false"), encoding="utf-8")
    return file


@pytest.fixture
def vehicle(tmp_path):
    engine = ControlUnit(
        0x7E8,
        {0x0C: b"\x00\x00", 0x42: b"\x31\x9c"},
        VIN,
        "ECM-EngineControl",
        {3: ["P0301", "P0420", "U0100"], 7: [], 10: []},
    )
    found = Vehicle(tmp_path.name, engine, ControlUnit(0x7E9))
    found.start()
    yield found
    found.stop()


def live(bench, **more):
    return vehicle_live(bench, **{"allow_requests": True, "say": lambda _: None, "listen_ns": LISTEN_NS} | more)


def test_over_python_can(bench, vehicle):
    for _ in range(3):  # a machine that stalls for 0.2 s makes an answer late; it does not do so each time
        vehicle.heard.clear()
        report = live(bench)
        if not report.shortfalls:
            break
    engine, gearbox = report.read.units
    assert (engine.vin, engine.name, engine.voltage) == (VIN, "ECM / EngineControl", 12.7)
    assert engine.codes["stored"] == ("P0301", "P0420", "U0100")
    assert (engine.readiness.lamp_on, gearbox.readiness.lamp_on) == (True, False)
    assert (report.vehicle, report.source, report.tester, report.shortfalls) == (
        "Roads patrol van 12",
        "live",
        None,
        (),
    )
    requests = [data for _, data in vehicle.heard if data[0] < 8]
    assert len(requests) == report.requests
    assert {data[1] for data in requests} == {0x01, 0x03, 0x07, 0x09, 0x0A}


class Blocking(BusSource):
    """Its driver holds a send up until the bus was read twice more."""

    def __init__(self, bus):
        super().__init__(bus)
        self.read_meanwhile = threading.Semaphore(0)
        self.held_up = []

    def open(self, clock):
        super().open(clock)
        device, send = self._connection.device, self._connection.device.send

        def slowly(message, timeout=None):
            while self.read_meanwhile.acquire(blocking=False):
                pass
            self.held_up.append(all(self.read_meanwhile.acquire(timeout=WAIT_S) for _ in range(2)))
            send(message, timeout)

        device.send = slowly

    def read(self):
        self.read_meanwhile.release()
        return super().read()


def test_the_bus_is_read_on_while_a_send_is_held_up(bench, vehicle, monkeypatch):
    """A frame that comes meanwhile is not left to a driver with little room."""
    sources = []
    monkeypatch.setattr(vehicle_module, "BusSource", lambda bus: sources.append(Blocking(bus)) or sources[-1])
    report = live(bench)
    assert report.read.vins == (VIN,)
    assert sources[0].held_up
    assert all(sources[0].held_up)


def test_a_send_that_never_comes_back_ends_the_reading(bench, vehicle, monkeypatch):
    free = threading.Event()

    class Stuck(BusSource):
        def open(self, clock):
            super().open(clock)
            self._connection.device.send = lambda _message, timeout=None: free.wait(WAIT_S)

    monkeypatch.setattr(vehicle_module, "BusSource", Stuck)
    try:
        with pytest.raises(DeviceError, match='Bus "body": the adapter has not taken a frame for more than 1 s'):
            live(bench)
        assert not free.is_set()
    finally:
        free.set()


def test_a_listen_only_bus_is_not_asked(bench, vehicle):
    bench.write_text(bench.read_text().replace("listen_only = false", "listen_only = true"))
    with pytest.raises(DeviceError) as caught:
        live(bench)
    assert str(caught.value).startswith(
        f'{bench}, line 3: The bus "body" is listen-only: nothing is ever sent on it.\n'
    )
    assert vehicle.heard == []


def test_without_leave_nothing_is_asked(bench, vehicle):
    with pytest.raises(DeviceError, match="without --allow-requests"):
        live(bench, allow_requests=False)
    assert vehicle.heard == []


def test_nobody_there(bench):
    with pytest.raises(DeviceError) as caught:
        live(bench)
    assert str(caught.value) == (
        'No control unit on the bus "body" answers OBD requests (7DF, 18DB33F1) and nothing else was heard there.\n'
        "In this order: ignition on, wait 10 s and try again; is it the bus at the diagnostic connector, other buses "
        "answer nothing; bit rate (500 or 250 kbit/s there, 500 kbit/s in the bench file); 60 Ω between the wires; the "
        "connector may sit behind a gateway that lets nothing through: then switch wires or the maker's upfitter "
        "connector remain."
    )


BUSES = '[[bus]]\nname = "body"\ninterface = "virtual"\n[[bus]]\nname = "drive"\ninterface = "virtual"\n'


def test_the_bus_of_the_obd_table():
    assert obd_bus(loads(f'[vehicle]\nname = "van"\n{BUSES}[obd]\nbus = "drive"\n')).name == "drive"


HINT = 'Add an [obd] table with bus = "...", the bus at the diagnostic connector.'
NO_INTERFACE = 'Give it interface and channel; "busprobe adapters" lists what is plugged in.'
UNCLEAR = {
    "two": (BUSES, f'it is not said which bus is asked; there are: "body", "drive".\n{HINT}'),
    "none": ("", f"it is not said which bus is asked; there are: none.\n{HINT}"),
    "no interface": (
        '[[bus]]\nname = "body"\n',
        f'line 3: The bus "body" has no interface.\n{NO_INTERFACE}',
    ),
}


@pytest.mark.parametrize(("buses", "message"), UNCLEAR.values(), ids=UNCLEAR.keys())
def test_a_bus_that_cannot_be_asked(buses, message):
    with pytest.raises(BenchError) as caught:
        obd_bus(loads(f'[vehicle]\nname = "van"\n{buses}'))
    assert str(caught.value) == message


# One unit answers a tester: VIN in three frames, no stored code, battery 12.7 V.
DRIVE = """\
(1768374000.000000) can0 7DF#0209020000000000
(1768374000.012000) can0 7E8#101449020141{vin0}
(1768374000.016000) can0 7E0#3000000000000000
(1768374000.020000) can0 7E8#21{vin1}
(1768374000.021000) can0 7E8#22{vin2}
(1768374001.000000) can0 7DF#0103000000000000
(1768374001.012000) can0 7E8#0243000000000000
(1768374001.500000) can0 7DF#0201420000000000
(1768374001.512000) can0 7E8#044142319C000000
(1768374002.000000) can1 7E9#0643020301042000
"""
VIN_HEX = VIN[1:].encode().hex()


def recording(path, text=DRIVE):
    path.write_text(text.format(vin0=VIN_HEX[:4], vin1=VIN_HEX[4:18], vin2=VIN_HEX[18:]))
    return path


def test_of_a_recording(tmp_path):
    report = vehicle_recorded(recording(tmp_path / "drive.log"))
    (unit,) = report.read.units
    assert (report.source, report.read.bus, report.vehicle, report.requests) == ("drive.log", "can0", "", 0)
    assert (unit.vin, unit.codes, unit.voltage) == (VIN, {"stored": ()}, 12.7)
    assert report.read.read_ns == 1768374001512000000
    assert report.read.asked == {"09 02", "03", "01 42"}
    assert report.tester.asked == ("09 02", "03", "01 42")
    assert report.notes == ('OBD answers were heard on the bus "can1" too; they are not shown.',)


def test_of_a_recording_without_answers(tmp_path):
    path = recording(tmp_path / "drive.log", "(1768374000.000000) can0 7DF#0209020000000000\n")
    with pytest.raises(BusprobeError) as caught:
        vehicle_recorded(path)
    assert str(caught.value) == (
        f"{path}: no control unit answers OBD requests in it.\n"
        'Record while a tester asks, or ask live: "busprobe vehicle live --bench FILE --allow-requests".'
    )


def test_compared_with_an_earlier_reading(tmp_path):
    from busprobe.report.as_json import dump
    from busprobe.report.vehicle_json import vehicle_json

    report = vehicle_recorded(recording(tmp_path / "before.log"))
    before = tmp_path / "before.json"
    before.write_text(dump(vehicle_json(report)))
    text = DRIVE.replace("0243000000000000", "0443010301000000").replace("319C", "2EE0")
    found = compared(vehicle_recorded(recording(tmp_path / "after.log", text)), before)
    assert [(change.what, change.weight.value) for change in found.comparison.changes] == [
        ("stored code P0301", "worse"),
        *((what, "cannot be compared") for what in ("pending codes", "permanent codes", "readiness")),
    ]
    assert [(volts.before, volts.now) for volts in found.comparison.volts] == [(12.7, 12.0)]
    assert (found.against, found.exit_status) == ("before.json", 1)
