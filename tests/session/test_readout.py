"""Reading out a vehicle, in simulated time."""

import pytest
from obd_bus import MS, ObdBus, requests_sent

from busprobe.errors import DeviceError
from busprobe.report.vehicle_report import Shortfall
from busprobe.session.readout import Phase, Readout
from busprobe.sources.manners import QUIET_NS
from busprobe.van.control_units import Conduct, ControlUnit

VIN = "A0TPV3D23TK000012"
PIDS = {0x0C: b"\x0c\x80", 0x0D: b"\x00", 0x42: b"\x31\x9c", 0x62: b"\x80"}
NOT_ASKED = "another tester asks; its answers were listened to"


def engine(conduct=None, **more):
    codes = more.pop("codes", {0x03: ["P0301", "P0420", "U0100"], 0x07: ["P0302"], 0x0A: []})
    monitors = bytes.fromhex("076141")
    return ControlUnit(0x7E8, PIDS, VIN, "ECM-EngineControl", codes, monitors, conduct or Conduct(), **more)


def gearbox(conduct=None):
    return ControlUnit(
        0x7E9, {0x0D: b"\x00"}, name="TCM-GearboxControl", codes={3: [], 7: []}, conduct=conduct or Conduct()
    )


def run_until(bus, readout, is_enough, most_s=120):
    while not is_enough():
        readout.feed(bus.advance())
        readout.step(bus.now_ns)
        assert bus.ms < most_s * 1000, "the readout does not end"


class Run:
    """A readout from its beginning to its end."""

    def __init__(self, bus, most_s=120):
        self.bus = bus
        self.said = []
        self.readout = Readout(bus.requester(QUIET_NS), self.said.append)
        run_until(bus, self.readout, lambda: self.readout.phase is Phase.OVER, most_s)
        self.read = self.readout.ear.tally.result("body", bus.now_ns)
        self.units = {unit.unit: unit for unit in self.read.units}

    @property
    def shortfalls(self):
        return self.readout.shortfalls


def test_everything():
    run = Run(ObdBus(engine(), gearbox()))
    found = run.units["7E8"]
    assert run.read.vins == (VIN,)
    assert (found.name, found.vin_note) == ("ECM / EngineControl", "check digit is right")
    assert found.pids == ("01", "0C", "0D", "42", "62")
    assert found.codes == {"stored": ("P0301", "P0420", "U0100"), "pending": ("P0302",), "permanent": ()}
    assert (found.voltage, found.engine_rpm) == (12.7, 800.0)
    ready = found.readiness
    assert (ready.lamp_on, ready.codes_counted, ready.ignition) == (True, 3, "spark")
    assert ready.supported == ("misfire", "fuel", "components", "catalyst", "O2 sensor", "O2 heater")
    assert ready.not_complete == ("catalyst", "O2 heater")
    other = run.units["7E9"]
    assert (other.name, other.codes, other.vin) == ("TCM / GearboxControl", {"stored": (), "pending": ()}, "")
    assert (other.voltage, other.engine_rpm, other.pids) == (None, None, ("01", "0D"))
    assert run.shortfalls == []


def test_what_is_asked_in_which_order():
    run = Run(ObdBus(engine(), gearbox()))
    assert requests_sent(run.bus) == [
        ("7DF", request)
        for request in ("01 00", "01 20", "01 40", "01 60", "01 01 0C 42", "03", "07", "0A", "09 00", "09 02", "09 0A")
    ]
    assert run.readout.requests == 11
    assert run.bus.sent[0][0] >= 5000, "five seconds of listening come first"
    assert run.said == [
        "Listening before anything is asked.",
        "Asking: supported PIDs, readiness, voltage, trouble codes, VIN.",
    ]
    assert run.bus.ms < 10_000


def test_refusals_are_kept():
    run = Run(ObdBus(engine(Conduct(refuses={0x0A: 0x11}))))
    assert run.units["7E8"].refusals == ("0A: service not supported (code 11)",)
    assert "permanent" not in run.units["7E8"].codes


def test_a_refusal_holds_for_what_was_asked_with_its_request():
    """7F 01 12 (ISO 14229-1, from memory) answers 01 01 0C 42 too: it does not say which of them."""
    run = Run(ObdBus(engine(), gearbox(Conduct(refuses={0x01: 0x12, 0x0A: 0x11}))))
    lacks = run.read.lacks(run.units["7E9"])
    assert lacks == {
        "permanent codes": "refused, service not supported (code 11)",
        "readiness": "refused, sub function not supported (code 12)",
    }


def test_a_busy_unit_is_asked_once_more():
    run = Run(ObdBus(engine(Conduct(refuses={0x07: 0x21}))))
    assert [request for _, request in requests_sent(run.bus)].count("07") == 2
    assert run.units["7E8"].refusals == ("07: busy repeat request (code 21)",)


def test_patience():
    run = Run(ObdBus(engine(Conduct(patience={0x09: 4500 * MS}))))
    assert run.read.vins == (VIN,)
    assert run.shortfalls == []


def test_patience_that_comes_to_nothing():
    run = Run(ObdBus(engine(), gearbox(Conduct(patience={0x03: 6000 * MS}))))
    assert run.shortfalls == [Shortfall("03", "7E9", "asked for patience (code 78), then said nothing for 5 s")]
    assert run.units["7E8"].codes["stored"]


def test_half_answers():
    run = Run(ObdBus(engine(Conduct(breaks_off=frozenset({0x09})), codes={3: []}), gearbox()))
    assert run.read.vins == ()
    assert [one for one in run.shortfalls if one.asked == "09 02"] == [
        Shortfall("09 02", "7E8", "the answer broke off; asked once more"),
        Shortfall("09 02", "7E8", "the answer broke off"),
    ]
    assert [request for _, request in requests_sent(run.bus)].count("09 02") == 2


def test_services_that_nobody_answers():
    unit = ControlUnit(0x7E8, PIDS, codes={3: []}, conduct=Conduct(silent=frozenset({0x09})))
    run = Run(ObdBus(unit))
    assert run.shortfalls == [Shortfall(asked, "", "no answer") for asked in ("07", "0A", "09 00", "09 02")]


def test_a_unit_that_answers_only_one_pid_at_a_time():
    class OneAtATime(ControlUnit):
        def answer(self, request, t_ns):
            return super().answer(request[:2], t_ns)

    run = Run(ObdBus(OneAtATime(0x7E8, PIDS, VIN)))
    found = run.units["7E8"]
    assert (found.readiness is not None, found.voltage, found.engine_rpm) == (True, 12.7, 800.0)
    asked = [request for _, request in requests_sent(run.bus)]
    assert asked[4:7] == ["01 01 0C 42", "01 0C", "01 42"]


def test_29_bit_identifiers():
    run = Run(ObdBus(ControlUnit(0x18DAF110, PIDS, VIN), ControlUnit(0x18DAF118)))
    assert sorted(run.units) == ["18DAF110", "18DAF118"]
    assert run.read.vins == (VIN,)
    assert [i for i, _ in requests_sent(run.bus)].count("7DF") == 1


def test_nobody_answers():
    run = Run(ObdBus())
    assert run.read.units == ()
    assert run.readout.frames == 0
    assert requests_sent(run.bus) == [("7DF", "01 00"), ("18DB33F1", "01 00")] * 2


def test_a_bus_with_other_traffic_is_not_silent():
    bus = ObdBus()
    bus.others(10, 0x123, "00")
    assert Run(bus).readout.frames == 1


def asks_forever(bus, until_ms, first_ms=100):
    for ms in range(first_ms, until_ms, 500):
        bus.others(ms, 0x7DF, "04 01 0C 0D 42")
        bus.others(ms + 60, 0x7E0, "30 00 00")


def test_another_tester_is_listened_to():
    bus = ObdBus(engine(), gearbox())
    asks_forever(bus, 30_000)
    bus.others(7000, 0x7DF, "01 03")
    run = Run(bus)
    assert bus.sent == []
    assert run.units["7E8"].voltage == 12.7
    assert "stored" not in run.units["7E8"].codes, "its answer is long, and the other tester let it lie"
    assert run.shortfalls == [Shortfall("all", "", f"not asked: {NOT_ASKED}")]
    assert run.readout.tester.per_second == pytest.approx(2.0, rel=0.1)
    assert run.readout.tester.asked == ("01 0C 0D 42", "03")
    assert run.said[-1] == "Another tester asks. Listening to its answers for 10.0 s."
    assert run.readout.requests == 0


def test_another_tester_comes_in_the_middle():
    bus = ObdBus(engine())
    asks_forever(bus, 30_000, first_ms=5900)
    run = Run(bus)
    assert 0 < run.readout.requests < 11
    assert all(ms <= 5920 for ms, _, _ in bus.sent)
    assert run.shortfalls[-1] == Shortfall("the rest", "", f"not asked any further: {NOT_ASKED}")


def test_a_tester_that_stops_in_time_is_waited_for():
    bus = ObdBus(engine())
    bus.others(10, 0x7DF, "02 01 0D")
    readout = Readout(bus.requester(QUIET_NS), lambda _: None)
    run_until(bus, readout, lambda: readout.phase is not Phase.LISTENING)
    assert readout.phase is Phase.ASKING


@pytest.mark.parametrize("at_ms", [100, 5500], ids=["while listening", "while asking"])
def test_j1939_traffic_ends_it(at_ms):
    bus = ObdBus(engine())
    bus.others(at_ms, 0x18FECA00, "00 00 00 00 00 00 00 00")
    with pytest.raises(DeviceError) as caught:
        Run(bus)
    assert str(caught.value) == (
        'The bus "body" carries J1939 traffic (18FECA00, DM1): nothing is asked there.\n'
        '"busprobe survey live" shows what such a vehicle broadcasts.'
    )
    assert all(ms <= at_ms + 20 for ms, _, _ in bus.sent)


def test_an_adapter_that_goes_in_the_middle():
    bus = ObdBus(engine())
    readout = Readout(bus.requester(QUIET_NS), lambda _: None)
    run_until(bus, readout, lambda: readout.requests == 3)
    bus.is_gone = True
    with pytest.raises(DeviceError, match="is gone"):
        run_until(bus, readout, lambda: False)


@pytest.mark.parametrize("more_ms", [0, 40], ids=["between requests", "in the midst of one"])
def test_a_program_that_was_held_up_listens_again_and_asks_on(more_ms):
    """It may have missed another tester meanwhile."""
    bus, said = ObdBus(engine(), gearbox()), []
    readout = Readout(bus.requester(QUIET_NS), said.append)
    run_until(bus, readout, lambda: readout.requests == 3)
    upto_ms = bus.ms + more_ms
    run_until(bus, readout, lambda: bus.ms >= upto_ms)
    before, held_up_to_ms = len(bus.sent), bus.ms + 1500
    bus.now_ns += 1500 * MS
    run_until(bus, readout, lambda: readout.phase is Phase.OVER)
    assert readout.shortfalls == []
    assert readout.ear.tally.result("body", bus.now_ns).vins == (VIN,)
    assert len(requests_sent(bus)) == readout.requests == 11
    assert bus.sent[before][0] >= held_up_to_ms + 5000
    assert said[2:] == ["The bus was not heard for a while: listening again before it is asked on."]


def test_a_program_that_was_held_up_makes_way_for_a_tester_that_came_meanwhile():
    bus = ObdBus(engine())
    readout = Readout(bus.requester(QUIET_NS), lambda _: None)
    run_until(bus, readout, lambda: readout.requests == 3)
    bus.now_ns += 1500 * MS
    asks_forever(bus, bus.ms + 30_000, first_ms=bus.ms + 1000)
    sent = len(bus.sent)
    run_until(bus, readout, lambda: readout.phase is Phase.OVER)
    assert len(bus.sent) == sent
    assert readout.shortfalls[-1] == Shortfall("the rest", "", f"not asked any further: {NOT_ASKED}")
