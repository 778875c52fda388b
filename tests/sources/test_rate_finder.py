"""Bit rates found by listening: good frames against error frames, and silence called silence."""

from collections.abc import Iterator
from contextlib import contextmanager

import can
import numpy as np
import pytest
from live_reading import other_end, virtual_bus
from slcan_adapter import SlcanAdapter

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import ERROR, FrameBatch, empty_frames
from busprobe.health import Health
from busprobe.report.rate_text import heard_line, rate_text, search_lines
from busprobe.sources import bus_trouble, network_link
from busprobe.sources.bus import BusSource
from busprobe.sources.clock import Clock
from busprobe.sources.driver_arguments import driver_arguments
from busprobe.sources.network_link import Link
from busprobe.sources.rate_finder import RATES, SETTLE_NS, Heard, RateSearch, Verdict, find_rate, refuse_search, search

LISTEN_NS = 150_000_000
TRAFFIC = ("t1232AABB", "t4568 0102030405060708".replace(" ", ""))


def slcan_bus(adapter: SlcanAdapter) -> Bus:
    return Bus("body", "slcan", adapter.port, options={"sleep_after_open": 0})


def search_slcan(adapter: SlcanAdapter, rates: tuple[int, ...] = RATES) -> RateSearch:
    source = BusSource(slcan_bus(adapter))
    try:
        return search(source, Clock(), rates, LISTEN_NS)
    finally:
        source.close()


# What is heard, and what it means.


@pytest.mark.parametrize(
    ("heard", "verdict"),
    [
        (Heard(500_000, good=20), Verdict.RIGHT),
        (Heard(500_000, good=1), Verdict.RIGHT),
        (Heard(500_000, good=20, errors=2), Verdict.RIGHT),
        (Heard(500_000, good=20, errors=3), Verdict.WRONG),
        (Heard(500_000, good=1, errors=1), Verdict.WRONG),
        (Heard(500_000, errors=1), Verdict.WRONG),
        (Heard(500_000), Verdict.SILENT),
        (Heard(500_000, is_possible=False), Verdict.NOT_POSSIBLE),
    ],
)
def test_verdict_of_one_rate(heard: Heard, verdict: Verdict) -> None:
    assert heard.verdict is verdict


class Vehicle:
    """A bus at one rate, heard through an adapter that reports error frames; time goes on with each read."""

    def __init__(self, rate: int, knows: tuple[int, ...] = RATES, frames: int = 5, is_deaf: bool = False) -> None:
        self.rate, self.knows, self.frames, self.is_deaf = rate, knows, frames, is_deaf
        self.tuned: int | None = None
        self.tried: list[int] = []
        self.now = 0

    def now_ns(self) -> int:
        return self.now

    def tune(self, bitrate: int, clock: Clock) -> None:
        self.tried.append(bitrate)
        if bitrate in self.knows:
            self.tuned = bitrate
        elif not self.is_deaf:
            raise DeviceError("no such rate") from ValueError(bitrate)

    def read(self) -> FrameBatch:
        self.now += 50_000_000
        if not self.frames or (self.is_deaf and self.tuned != self.rate):
            return empty_frames(("body",))
        count = self.frames
        flags = np.full(count, 0 if self.tuned == self.rate else ERROR, np.uint8)
        zero = np.zeros(count, np.int64)
        return FrameBatch(
            zero, ("body",), zero.astype(np.uint8), zero.astype(np.uint32), flags, zero.astype(np.uint8),
            zero.astype(np.uint64),
        )  # fmt: skip

    def health(self) -> Health:
        return Health()

    def close(self) -> None:
        pass


@pytest.mark.parametrize("rate", RATES)
def test_every_rate_is_found_and_the_usual_ones_first(rate: int) -> None:
    vehicle = Vehicle(rate)
    found = search(vehicle, vehicle)  # type: ignore[arg-type]
    assert found.rate == rate
    assert vehicle.tried == list(RATES[: RATES.index(rate) + 1])
    assert [heard.verdict for heard in found.heard] == [*[Verdict.WRONG] * (len(vehicle.tried) - 1), Verdict.RIGHT]


class HeldUp(Vehicle):
    """The first reading of each listening is held up after a look that found nothing, for longer than is listened."""

    def tune(self, bitrate: int, clock: Clock) -> None:
        super().tune(bitrate, clock)
        self.tuned_at, self.is_held_up = self.now, True

    def read(self) -> FrameBatch:
        found = super().read()
        if self.is_held_up and self.now > self.tuned_at + SETTLE_NS + 50_000_000:
            self.is_held_up = False
            self.now += 3_000_000_000
            return empty_frames(("body",))
        return found


def test_a_rate_is_not_silent_for_what_nobody_has_read() -> None:
    vehicle = HeldUp(250_000)
    found = search(vehicle, vehicle)  # type: ignore[arg-type]
    assert [heard.verdict for heard in found.heard] == [Verdict.WRONG, Verdict.RIGHT]


def test_the_usual_rates_in_their_order() -> None:
    assert RATES[:8] == (500_000, 250_000, 125_000, 1_000_000, 100_000, 83_333, 50_000, 33_333)


def test_a_rate_that_the_adapter_does_not_know_is_left_out() -> None:
    vehicle = Vehicle(125_000, knows=(500_000, 125_000))
    found = search(vehicle, vehicle)  # type: ignore[arg-type]
    assert found.rate == 125_000
    assert [heard.verdict for heard in found.heard] == [Verdict.WRONG, Verdict.NOT_POSSIBLE, Verdict.RIGHT]


def test_traffic_at_no_rate_that_is_known() -> None:
    vehicle = Vehicle(666_667)
    found = search(vehicle, vehicle)  # type: ignore[arg-type]
    assert found.rate is None
    assert not found.is_silent


def test_silence_is_no_rate() -> None:
    vehicle = Vehicle(500_000, frames=0)
    found = search(vehicle, vehicle)  # type: ignore[arg-type]
    assert found.rate is None
    assert found.is_silent
    assert {heard.verdict for heard in found.heard} == {Verdict.SILENT}


def test_an_adapter_that_refuses_a_rate_without_a_word_misleads_nobody() -> None:
    """It wakes while the adapter still stands at the rate before."""
    vehicle = Vehicle(250_000, knows=(500_000, 250_000), frames=0, is_deaf=True)
    real = vehicle.tune

    def tune(bitrate: int, clock: Clock) -> None:
        real(bitrate, clock)
        vehicle.frames = 5 if 125_000 in vehicle.tried else 0

    vehicle.tune = tune  # type: ignore[method-assign]
    found = search(vehicle, vehicle)  # type: ignore[arg-type]
    assert vehicle.tried == [500_000, 250_000, 125_000, 250_000]
    assert found.rate == 250_000


# Through a driver.


@pytest.mark.parametrize("rate", [500_000, 125_000, 83_333, 33_333])
def test_slcan(rate: int) -> None:
    with SlcanAdapter(vehicle_rate={83_333: 83_300}.get(rate, rate), traffic=TRAFFIC) as adapter:
        found = search_slcan(adapter)
        assert found.rate == rate
        assert "O" not in adapter.commands, "the adapter never acknowledged"
        assert not adapter.sent, "nothing was sent"


def test_frames_that_the_adapter_holds_back_are_not_heard_at_the_next_rate() -> None:
    """At 500 kbit/s nothing is heard, so it is listened to once more after 250: late frames would make it right."""
    with SlcanAdapter(vehicle_rate=250_000, traffic=TRAFFIC, lag_s=0.08) as adapter:
        found = search_slcan(adapter, RATES[:3])
    assert [heard.verdict for heard in found.heard] == [Verdict.SILENT, Verdict.RIGHT]
    assert found.rate == 250_000


def test_slcan_on_a_silent_bus() -> None:
    with SlcanAdapter() as adapter:
        found = search_slcan(adapter, RATES[:3])
    assert (found.rate, found.is_silent) == (None, True)


def test_an_adapter_that_reports_error_frames(monkeypatch: pytest.MonkeyPatch) -> None:
    bus = virtual_bus()
    with other_end(bus) as vehicle, tuned_virtual(bus, vehicle, 125_000, monkeypatch) as source:
        found = search(source, Clock(), RATES, LISTEN_NS, settle_ns=0)
    assert found.rate == 125_000
    assert [heard.verdict for heard in found.heard] == [Verdict.WRONG, Verdict.WRONG, Verdict.RIGHT]


@contextmanager
def tuned_virtual(bus: Bus, vehicle: can.BusABC, rate: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[BusSource]:
    """A source whose bus carries good frames at one rate and error frames at others."""
    source = BusSource(bus)
    real = source.tune

    def tune(bitrate: int, clock: Clock) -> None:
        real(bitrate, clock)
        for _ in range(40):
            vehicle.send(can.Message(arbitration_id=8, data=bytes(8), is_error_frame=bitrate != rate))

    monkeypatch.setattr(source, "tune", tune)
    yield source
    source.close()


@pytest.mark.parametrize("settle_ns", [0, 60_000_000], ids=["while listening", "while settling"])
def test_a_bus_off_at_a_wrong_rate_is_a_wrong_rate(settle_ns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    bus = virtual_bus()
    with other_end(bus) as vehicle:
        source = BusSource(bus)
        real = source.tune

        def tune(bitrate: int, clock: Clock) -> None:
            real(bitrate, clock)
            if bitrate == 250_000:
                vehicle.send_periodic(can.Message(arbitration_id=0x040, data=bytes(8)), 0.01)
            else:
                vehicle.send(can.Message(arbitration_id=0x040, data=bytes(8), is_error_frame=True))

        monkeypatch.setattr(source, "tune", tune)
        found = search(source, Clock(), RATES, LISTEN_NS, settle_ns=settle_ns)
        source.close()
    assert [heard.verdict for heard in found.heard] == [Verdict.WRONG, Verdict.RIGHT]


def test_an_adapter_that_is_unplugged_meanwhile() -> None:
    with SlcanAdapter() as adapter:
        source = BusSource(slcan_bus(adapter))
        source.tune(500_000, Clock())
        adapter.unplug()
        with pytest.raises(DeviceError, match="is gone"):
            search(source, Clock(), RATES, LISTEN_NS)
        source.close()


# Where it may not be done.


@pytest.mark.parametrize(
    ("interface", "text"),
    [
        ("virtual", '"virtual" has no bit rate: there is no wire.'),
        ("udp_multicast", '"udp_multicast" has no bit rate: there is no wire.'),
        (
            "socketcand",
            '"socketcand" takes no bit rate from here.\nSet it where the adapter is, one after another.',
        ),
        (
            "ixxat",
            (
                '"ixxat" cannot be kept from acknowledging: at a wrong bit rate it destroys the frames of others.\n'
                "Use an adapter that can listen only. Or add --may-acknowledge where that harms nobody: "
                "the vehicle stands, its engine is off."
            ),
        ),
        (
            "gs_usb",
            (
                '"gs_usb" cannot be kept from acknowledging: at a wrong bit rate it destroys the frames of others.\n'
                'Use an adapter that can listen only. On Linux the same adapter works with interface = "socketcan", '
                "listen-only. Or add --may-acknowledge where that harms nobody: the vehicle stands, its engine is off."
            ),
        ),
    ],
    ids=["virtual", "udp_multicast", "another machine's", "no listening", "no listening, Linux can"],
)
def test_refusals(interface: str, text: str) -> None:
    with pytest.raises(DeviceError) as caught:
        find_rate(Bus("body", interface, "0"))
    assert str(caught.value) == text


def test_an_unknown_interface() -> None:
    with pytest.raises(DeviceError, match=r'unknown interface "slcn"\. Nearest known name: "slcan"'):
        find_rate(Bus("body", "slcn", "0"))


def test_the_user_may_take_it_on_himself() -> None:
    refuse_search(Bus("body", "gs_usb", "0"), may_acknowledge=True)


@pytest.fixture
def ip(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """Commands given to `ip`; can0 and vcan0 are there."""
    given: list[tuple[str, ...]] = []
    links = {"can0": Link("can0", is_up=True, listen_only=True), "vcan0": Link("vcan0", True, is_virtual=True)}
    monkeypatch.setattr(bus_trouble, "can_links", lambda: tuple(links))
    monkeypatch.setattr(bus_trouble, "read_link", links.get)

    class Done:
        returncode, stdout, stderr = 0, "", ""

    def run(*words: str) -> Done:
        given.append(words)
        return Done()

    monkeypatch.setattr(network_link, "_ip", run)
    return given


def test_a_network_interface_is_set_listen_only_before_it_is_opened(
    monkeypatch: pytest.MonkeyPatch, ip: list[tuple[str, ...]]
) -> None:
    def opened(bus: Bus) -> None:
        ip.append(("opened", str(bus.bitrate)))
        raise DeviceError("enough")

    monkeypatch.setattr("busprobe.sources.bus.open_bus", opened)
    with pytest.raises(DeviceError, match="enough"):
        find_rate(Bus("body", "socketcan", "can0"))
    assert ip == [
        ("link", "set", "can0", "down"),
        ("link", "set", "can0", "up", "type", "can", "bitrate", "500000", "listen-only", "on"),
        ("opened", "500000"),
    ]


def test_a_network_interface_without_the_rights(monkeypatch: pytest.MonkeyPatch, ip: list[tuple[str, ...]]) -> None:
    class Refused:
        returncode, stdout, stderr = 2, "", "RTNETLINK answers: Operation not permitted\n"

    monkeypatch.setattr(network_link, "_ip", lambda *words: Refused())
    with pytest.raises(DeviceError) as caught:
        find_rate(Bus("body", "socketcan", "can0"))
    assert str(caught.value) == (
        '"ip link set can0 down" says "RTNETLINK answers: Operation not permitted".\n'
        "Setting a network interface needs root: run this command with sudo. "
        "Some adapters know neither this bit rate nor listen-only."
    )


def test_a_network_interface_that_is_no_wire(ip: list[tuple[str, ...]]) -> None:
    with pytest.raises(DeviceError, match='"vcan0" has no bit rate: there is no wire'):
        find_rate(Bus("body", "socketcan", "vcan0"))
    assert not ip


def test_a_network_interface_that_is_not_there(ip: list[tuple[str, ...]]) -> None:
    with pytest.raises(DeviceError, match=r'there is no network interface "can1"\. Nearest known name: "can0"'):
        find_rate(Bus("body", "socketcan", "can1"))


# Rates as drivers know them.


@pytest.mark.parametrize(
    ("interface", "rate", "told"),
    [("slcan", 83_333, 83_300), ("pcan", 33_333, 33_000), ("pcan", 95_238, 95_000), ("kvaser", 83_333, 83_000)],
)
def test_rates_that_a_driver_knows_rounded(interface: str, rate: int, told: int) -> None:
    assert driver_arguments(Bus("body", interface, "0", rate))["bitrate"] == told


@pytest.mark.parametrize(("interface", "rate"), [("pcan", 62_500), ("slcan", 666_667)])
def test_a_rate_that_a_driver_would_take_for_another(interface: str, rate: int) -> None:
    with pytest.raises(DeviceError) as caught:
        driver_arguments(Bus("body", interface, "0", rate))
    assert str(caught.value) == (
        f'Bus "body": "{interface}" cannot be set to {rate} bit/s.\n'
        'The usual rates are 500000, 250000, 125000 and 1000000; "busprobe listen-rate" finds that of a bus.'
    )


# What is printed.


@pytest.mark.parametrize(
    ("heard", "line"),
    [
        (Heard(500_000, 0, 212), "  500 kbit/s     0 good frames,  212 error frames  wrong"),
        (Heard(83_333, 20, 0), " 83.33 kbit/s    20 good frames,    0 error frames  right"),
        (Heard(62_500, is_possible=False), "  62.5 kbit/s  the adapter does not know it"),
    ],
)
def test_lines_of_a_search(heard: Heard, line: str) -> None:
    assert heard_line(heard).strip() == line.strip()


def test_rates_as_text() -> None:
    assert [rate_text(rate) for rate in (1_000_000, 500_000, 83_333, 33_333)] == [
        "1000 kbit/s", "500 kbit/s", "83.33 kbit/s", "33.33 kbit/s",
    ]  # fmt: skip


def test_a_rate_that_was_found() -> None:
    lines = search_lines(RateSearch(250_000, (Heard(250_000, 20),)), "slcan")
    assert lines[-1] == "The bus runs at 250 kbit/s: write bitrate = 250000 in its [[bus]]."


def test_silence_says_what_to_try() -> None:
    """But not the search that has just been made."""
    silent = RateSearch(None, (Heard(500_000),))
    text = "\n".join(search_lines(silent, "slcan"))
    assert (
        text
        == """
Silence at every bit rate. That says nothing of the bit rate. ("slcan" passes no
error frames on: at a wrong rate it is silent too.)

What to try, in this order:
  1. Ignition on, then wait 10 s: with it off most buses sleep.
  2. Open a door: that wakes the body electronics.
  3. Wires: with everything off, measure between CAN high and CAN low. 60 Ω is
     right; 120 Ω: one terminator is missing; 40 Ω: there is one too many.
  4. The port may sit behind a gateway which only answers requests. Then use the
     maker's upfitter connector, a body-bus tap or switch wires."""
    )
    assert "error frames on" not in "\n".join(search_lines(silent, "socketcan"))


def test_traffic_that_fits_no_rate() -> None:
    lines = search_lines(RateSearch(None, (Heard(500_000, errors=30),)), "pcan")
    assert lines[1].startswith("There is traffic, but none of these bit rates fits it.")
    assert not any("What to try" in line for line in lines)
