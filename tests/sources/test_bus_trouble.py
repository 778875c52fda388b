"""Buses that do not open: what the user is told to plug in, permit or install."""

import errno
import sys
from dataclasses import replace
from pathlib import Path

import can
import pytest
import serial
from live_reading import opened, udp_bus, virtual_bus
from slcan_adapter import SlcanAdapter

from busprobe.bench.model import Bus, Origin
from busprobe.errors import DeviceError
from busprobe.sources import bus_trouble, driver_arguments, drivers, listening, network_link
from busprobe.sources.bus import BusSource
from busprobe.sources.bus_trouble import checked_link, gone, not_opened
from busprobe.sources.clock import Clock
from busprobe.sources.driver_arguments import driver_arguments as arguments_of
from busprobe.sources.driver_arguments import refuse_clashes
from busprobe.sources.network_link import Link

BENCH = Origin(Path("van.toml"), 3)


def told(bus: Bus) -> str:
    """What the user is told when a bus does not open."""
    source = BusSource(bus)
    with pytest.raises(DeviceError) as caught:
        source.open(Clock())
    source.close()
    return str(caught.value)


# What the bench file lacks or contradicts.


def test_a_bus_for_recordings_only() -> None:
    assert told(Bus("body", origin=BENCH)) == (
        'van.toml, line 3: Bus "body" has no "interface": it can be had from recordings only.\n'
        'Write "interface" and "channel" in this [[bus]]; "busprobe adapters" lists what is there.'
    )


def test_an_interface_with_a_slip_of_the_pen() -> None:
    text = told(Bus("body", "socketcna", "can0", origin=BENCH))
    assert text.startswith(
        'van.toml, line 3: Bus "body": unknown interface "socketcna". Nearest known name: "socketcan".\n'
        "Interfaces: canalystii, cantact, "
    )


def test_a_bit_rate_must_be_told() -> None:
    assert told(Bus("body", "slcan", "/dev/ttyACM0", origin=BENCH)) == (
        'van.toml, line 3: Bus "body" has no "bitrate", and "slcan" must be told.\n'
        'Write bitrate = 500000, or what "busprobe listen-rate slcan:/dev/ttyACM0" finds: '
        "an adapter at a wrong bit rate disturbs the bus."
    )


def test_an_option_that_contradicts_listening() -> None:
    bus = Bus("body", "kvaser", "0", 500_000, options={"driver_mode": True}, origin=BENCH)
    assert told(bus) == (
        'van.toml, line 3: Bus "body" is listen-only, which "driver_mode" = "True" contradicts.\n'
        'Leave "driver_mode" out, or write listen_only = false.'
    )
    assert arguments_of(replace(bus, listen_only=False))["driver_mode"] is True


def test_options_and_data_bit_rate_pass_through() -> None:
    bus = Bus("body", "vector", "0", 500_000, 2_000_000, options={"fd": True, "app_name": None, "serial": 7})
    assert arguments_of(bus) == {
        "interface": "vector", "ignore_config": True, "channel": "0", "bitrate": 500_000, "data_bitrate": 2_000_000,
        "fd": True, "app_name": None, "serial": 7, "listen_only": True,
    }  # fmt: skip


def test_frames_of_a_bench_stay_on_the_machine_unless_the_bench_file_says_otherwise() -> None:
    assert arguments_of(Bus("body", "udp_multicast"))["hop_limit"] == 0
    assert arguments_of(Bus("body", "udp_multicast", options={"hop_limit": 2}))["hop_limit"] == 2


def test_bit_timing_numbers_are_put_together() -> None:
    numbers = {"f_clock": 8_000_000, "brp": 1, "tseg1": 13, "tseg2": 2, "sjw": 1}
    timing = arguments_of(Bus("body", "slcan", "/dev/ttyACM0", options=numbers))["timing"]
    assert (timing.bitrate, timing.sample_point) == (500_000, 87.5)
    impossible = Bus("body", "slcan", "/dev/ttyACM0", options={**numbers, "tseg1": 99})
    with pytest.raises(DeviceError, match='Bus "body": the bit timing is not possible: '):
        arguments_of(impossible)


@pytest.mark.parametrize(
    ("rate", "registers"),
    [(33_333, (0xCB, 0x3E)), (95_238, (0xC3, 0x3F)), (800_000, (0x40, 0x16))],
)
def test_slcan_gets_unusual_rates_as_registers(rate: int, registers: tuple[int, int]) -> None:
    """Registers of the SJA1000 (from memory): rate = 8 MHz / (brp × (1 + tseg1 + tseg2)), BTR0 = sjw - 1 and
    brp - 1 in its 2 high and 6 low bits, BTR1 = tseg2 - 1 and tseg1 - 1 in 3 and 4 bits.
    """
    timing = arguments_of(Bus("body", "slcan", "/dev/ttyACM0", rate))["timing"]
    assert (timing.btr0, timing.btr1) == registers
    brp, tseg1, tseg2 = (registers[0] & 63) + 1, (registers[1] & 15) + 1, (registers[1] >> 4 & 7) + 1
    assert 8_000_000 / (brp * (1 + tseg1 + tseg2)) == pytest.approx(rate, rel=0.001)


@pytest.mark.parametrize(
    ("first", "second", "text"),
    [
        (
            Bus("body", "udp_multicast", "239.74.163.2"),
            Bus("engine", "udp_multicast", "239.74.163.3", options={"port": 43113}),
            (
                'The buses "body" and "engine" use the same UDP port, "43113".\n'
                'Two buses of udp_multicast hear each other on one port: write another "port" in one of them.'
            ),
        ),
        (
            Bus("body", "slcan", "/dev/ttyACM0"),
            Bus("engine", "slcan", "/dev/ttyACM0"),
            (
                'The buses "body" and "engine" use the same adapter, "/dev/ttyACM0".\n'
                'Each [[bus]] needs a "channel" of its own.'
            ),
        ),
    ],
    ids=["one UDP port", "one adapter"],
)
def test_two_buses_of_one_adapter(first: Bus, second: Bus, text: str) -> None:
    with pytest.raises(DeviceError) as caught:
        refuse_clashes([first, second])
    assert str(caught.value) == text


def test_buses_that_do_not_clash() -> None:
    refuse_clashes(
        [
            Bus("body", "udp_multicast"), Bus("engine", "udp_multicast", options={"port": 43114}),
            Bus("a", "slcan", "/dev/ttyACM0"), Bus("b", "slcan", "/dev/ttyACM1"), Bus("c"), Bus("d"),
        ]
    )  # fmt: skip


# Serial ports.


def test_a_port_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("busprobe.sources.port_list.list_ports.comports", lambda: [])
    assert told(Bus("body", "slcan", "/dev/ttyACM7@115200", 500_000)) == (
        'Bus "body": there is no serial port "/dev/ttyACM7".\n'
        'No serial port is there. Plug the adapter in; "busprobe adapters" describes every port.'
    )


def test_a_port_that_is_not_there_but_others_are(monkeypatch: pytest.MonkeyPatch) -> None:
    there = [type("Info", (), {"device": name, "description": "n/a"}) for name in ("/dev/ttyACM0", "/dev/ttyS0")]
    monkeypatch.setattr("busprobe.sources.port_list.list_ports.comports", lambda: there)
    assert told(Bus("body", "seeedstudio", "/dev/ttyACM7", 500_000)) == (
        'Bus "body": there is no serial port "/dev/ttyACM7". Nearest known name: "/dev/ttyACM0".\n'
        'Ports there: "/dev/ttyACM0", "/dev/ttyS0". Plug the adapter in; "busprobe adapters" describes every port.'
    )


def test_a_port_without_permission(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    port = tmp_path / "ttyACM0"
    port.touch()

    def refused(*_: object, **__: object) -> None:
        raise serial.SerialException(errno.EACCES, f"could not open port {port}")

    monkeypatch.setattr(serial, "serial_for_url", refused)
    monkeypatch.setattr("busprobe.sources.port_list.sys.platform", "linux")
    monkeypatch.setattr(Path, "group", lambda self: "dialout")
    assert told(Bus("body", "slcan", str(port), 500_000)) == (
        f'Bus "body": no permission for the serial port "{port}".\n'
        'Run "sudo usermod -a -G dialout $USER", log out and in again.'
    )


@pytest.mark.skipif(sys.platform == "win32", reason="locks of POSIX")
def test_a_port_in_use() -> None:
    with SlcanAdapter() as adapter:
        bus = Bus("body", "slcan", adapter.port, 500_000, options={"sleep_after_open": 0})
        with opened(bus):
            assert told(replace(bus, name="engine")) == (
                f'Bus "engine": the serial port "{adapter.port}" is in use by another program.\n'
                "Close that program; one port serves one program."
            )
            assert "C" not in adapter.commands[1:], "the adapter in use was not touched"
        with opened(bus):
            pass


def test_a_file_that_is_no_port(tmp_path: Path) -> None:
    file = tmp_path / "port"
    file.touch()
    text = told(Bus("body", "slcan", str(file), 500_000))
    assert text.startswith('Bus "body": ')
    assert '"busprobe adapters"' in text


# Network interfaces.


def network(folder: Path, *names: str) -> Path:
    for name in names:
        (folder / name).mkdir()
        (folder / name / "type").write_text("280\n" if "can" in name else "1\n")
    return folder


BODY = Bus("body", "socketcan", "can0", 500_000)


@pytest.fixture
def links(monkeypatch: pytest.MonkeyPatch) -> dict[str, Link]:
    """CAN network interfaces that are there."""
    there: dict[str, Link] = {}
    monkeypatch.setattr(bus_trouble, "can_links", lambda: tuple(there))
    monkeypatch.setattr(bus_trouble, "read_link", there.get)
    return there


@pytest.mark.parametrize(
    ("link", "text"),
    [
        (
            Link("can1", is_up=True),
            (
                'Bus "body": there is no network interface "can0". Nearest known name: "can1".\n'
                'CAN interfaces there: "can1". Plug the adapter in; "ip link" lists interfaces, '
                'and "busprobe adapters" says what else is there.'
            ),
        ),
        (
            Link("can0", is_up=False),
            (
                'Bus "body": the network interface "can0" is down.\n'
                'Run "sudo ip link set can0 up type can bitrate 500000 listen-only on".'
            ),
        ),
        (
            Link("can0", is_up=True, bitrate=250_000),
            (
                'Bus "body": can0 runs at 250000 bit/s, the bench file says 500000.\n'
                'Correct "bitrate", or run "sudo ip link set can0 down" and '
                '"sudo ip link set can0 up type can bitrate 500000 listen-only on".'
            ),
        ),
        (
            Link("can0", is_up=True, state="BUS-OFF"),
            (
                'Bus "body": the adapter is bus-off: it met too many errors and has left the bus.\n'
                "Look at the bit rate, at the wires CAN high and CAN low, and for 60 Ω between them; "
                'then "sudo ip link set can0 type can restart" brings it back.'
            ),
        ),
    ],
    ids=["not there", "down", "another bit rate", "bus-off"],
)
def test_network_interfaces(links: dict[str, Link], link: Link, text: str) -> None:
    links[link.name] = link
    assert told(BODY) == text


def test_no_network_interface_at_all(links: dict[str, Link]) -> None:
    assert told(BODY) == (
        'Bus "body": there is no network interface "can0".\n'
        'No CAN interface is there. Plug the adapter in; "ip link" lists interfaces, '
        'and "busprobe adapters" says what else is there.'
    )


def test_a_network_interface_that_is_fine(links: dict[str, Link]) -> None:
    links["can0"] = Link("can0", is_up=True, listen_only=True, bitrate=500_000, state="ERROR-ACTIVE")
    assert checked_link(BODY) == links["can0"]


def test_the_program_ip_may_be_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bus_trouble, "can_links", lambda: ("can0",))
    monkeypatch.setattr(bus_trouble, "read_link", lambda name: None)
    assert checked_link(BODY) is None


def test_a_kernel_without_can(links: dict[str, Link]) -> None:
    error = OSError(errno.EAFNOSUPPORT, "Address family not supported by protocol")
    assert str(not_opened(BODY, error)) == (
        'Bus "body": this kernel has no CAN sockets.\nRun "sudo modprobe can can_raw", then plug the adapter in.'
    )


def test_a_network_interface_that_is_set_down_while_it_is_read(links: dict[str, Link]) -> None:
    error = can.CanOperationError("Error receiving: Network is down", errno.ENETDOWN)
    error.__cause__ = OSError(errno.ENETDOWN, "Network is down")
    assert str(gone(BODY, error)) == (
        'Bus "body": the network interface "can0" is down.\n'
        'Run "sudo ip link set can0 up type can bitrate 500000 listen-only on".'
    )


# As iproute2 prints them (ip/iplink_can.c, from memory).
SHOWN = """[{"ifindex":4,"ifname":"can0","flags":["NOARP","UP","LOWER_UP","ECHO"],"mtu":16,"operstate":"UP",
"link_type":"can","linkinfo":{"info_kind":"can","info_data":{"ctrlmode":["LISTEN-ONLY","BERR-REPORTING"],
"state":"ERROR-PASSIVE","restart_ms":0,"bittiming":{"bitrate":500000,"sample_point":"0.875"},"clock":8000000}}}]"""
SHOWN_DOWN = """[{"ifname":"can1","flags":["NOARP","ECHO"],"operstate":"DOWN","link_type":"can",
"linkinfo":{"info_kind":"can","info_data":{"state":"STOPPED"}}}]"""
SHOWN_VIRTUAL = """[{"ifname":"vcan0","flags":["NOARP","UP","LOWER_UP"],"link_type":"can",
"linkinfo":{"info_kind":"vcan"}}]"""


@pytest.mark.parametrize(
    ("text", "link"),
    [
        (SHOWN, Link("can0", True, False, True, 500_000, "ERROR-PASSIVE")),
        (SHOWN_DOWN, Link("can1", False, state="STOPPED")),
        (SHOWN_VIRTUAL, Link("vcan0", True, is_virtual=True)),
        ("[]", None),
        ('Object "-json" is unknown', None),
        ("[{}]", None),
        ("[7]", None),
    ],
    ids=["listen-only", "down", "virtual", "none", "an old ip", "no name", "nonsense"],
)
def test_what_ip_shows(text: str, link: Link | None) -> None:
    assert network_link.link_of(text) == link


def test_can_interfaces_are_told_from_others(tmp_path: Path) -> None:
    assert network_link.can_links(network(tmp_path, "vcan1", "eth0", "can0", "lo")) == ("can0", "vcan1")
    assert network_link.can_links(tmp_path / "none") == ()


# Drivers that are not installed.


@pytest.mark.parametrize(
    ("interface", "error", "text"),
    [
        (
            "canalystii",
            ImportError("No module named 'canalystii'"),
            (
                'Bus "body": "canalystii" does not open: No module named \'canalystii\'.\n'
                'Install its Python package: pip install "python-can[canalystii]".'
            ),
        ),
        (
            "kvaser",
            NameError("name 'canGetNumberOfChannels' is not defined"),
            (
                'Bus "body": "kvaser" does not open: name \'canGetNumberOfChannels\' is not defined.\n'
                "Install the driver library of the adapter's maker; then plug the adapter in."
            ),
        ),
        (
            "vector",
            can.CanInterfaceNotImplementedError("The interface is only supported on Windows."),
            (
                'Bus "body": "vector" does not open: The interface is only supported on Windows.\n'
                "It works on Windows only, this is Linux."
            ),
        ),
        (
            "virtual",
            TypeError("unexpected keyword"),
            (
                'Bus "body": "virtual" does not open: unexpected keyword.\n'
                'Look at "channel" and the options of this [[bus]]; "busprobe adapters" lists what is there.'
            ),
        ),
    ],
    ids=["a Python package", "the maker's library", "another system", "something else"],
)
def test_a_driver_that_is_missing(monkeypatch: pytest.MonkeyPatch, interface: str, error: Exception, text: str) -> None:
    monkeypatch.setattr(drivers.sys, "platform", "linux")
    monkeypatch.setattr(drivers, "find_spec", lambda name: None)
    assert str(not_opened(Bus("body", interface, "0", 500_000), error)) == text


def test_a_group_that_is_no_multicast_group() -> None:
    text = told(Bus("body", "udp_multicast", "no such group."))
    assert text.startswith('Bus "body": "udp_multicast" does not open: ')
    assert text.endswith(
        "It needs a network interface that is up and takes multicast groups; the channel is such a group."
    )


def test_every_interface_of_python_can_is_known() -> None:
    assert set(drivers.DRIVERS) == set(listening.LISTENING) == set(can.VALID_INTERFACES)
    assert set(driver_arguments.DEFAULTS) <= set(can.VALID_INTERFACES)


def test_how_exactly_frames_are_stamped(tmp_path: Path) -> None:
    """A USB serial chip that gathers bytes for 16 ms adds them."""
    assert drivers.uncertainty_ns("socketcan", "can0") == 1_000_000
    assert drivers.uncertainty_ns("slcan", "/dev/ttyUSB0", tmp_path) == 20_000_000
    (tmp_path / "ttyUSB0").mkdir()
    (tmp_path / "ttyUSB0" / "latency_timer").write_text("16\n")
    assert drivers.uncertainty_ns("slcan", "/dev/ttyUSB0@115200", tmp_path) == 36_000_000


def test_the_bench_file_may_say_it_is_worse() -> None:
    with opened(virtual_bus(uncertainty_ns=7_000_000)) as source:
        assert source.health().uncertainty_ns == 7_000_000
    with opened(udp_bus()) as source:
        assert source.health().uncertainty_ns == 1_000_000


def test_an_unplugged_serial_adapter_is_gone_in_our_own_words() -> None:
    """What pyserial says is for programmers; what the system says is told."""
    bus = Bus("body", "slcan", "/dev/ttyACM0")
    words = "device reports readiness to read but returned no data (device disconnected or multiple access on port?)"
    assert gone(bus, serial.SerialException(words)).message == 'Bus "body": the adapter at "/dev/ttyACM0" is gone.'
    error = gone(bus, OSError(errno.EIO, "Input/output error"))
    assert error.message == 'Bus "body": the adapter at "/dev/ttyACM0" is gone: Input/output error.'
