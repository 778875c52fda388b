"""What keeps each adapter from acknowledging, and what the user is told of it."""

import can
import pytest
from live_reading import opened, udp_bus
from slcan_adapter import SlcanAdapter

from busprobe.bench.model import Bus
from busprobe.sources.listening import LISTENING, Way, listening_of, listening_options, listening_text
from busprobe.sources.network_link import Link

CAN0 = Bus("body", "socketcan", "can0", 500_000)


def test_every_interface_has_a_line() -> None:
    assert set(LISTENING) == set(can.VALID_INTERFACES)


@pytest.mark.parametrize("interface", sorted(LISTENING))
def test_options_are_given_exactly_where_the_driver_sets_it(interface: str) -> None:
    assert bool(LISTENING[interface].options) == (LISTENING[interface].way is Way.DRIVER)


@pytest.mark.parametrize(
    ("interface", "options"),
    [
        ("slcan", {"listen_only": True}),
        ("pcan", {"state": can.BusState.PASSIVE}),
        ("kvaser", {"driver_mode": False}),
        ("cantact", {"monitor": True}),
        ("seeedstudio", {"operation_mode": "silent"}),
        ("socketcan", {}),
        ("gs_usb", {}),
    ],
)
def test_what_the_driver_is_told(interface: str, options: dict[str, object]) -> None:
    assert dict(listening_options(Bus("body", interface))) == options
    assert listening_options(Bus("body", interface, listen_only=False)) == {}


def test_an_interface_of_another_package_is_trusted_with_nothing() -> None:
    assert listening_of("somebodys_own").way is Way.NOT_POSSIBLE


@pytest.mark.parametrize(
    ("bus", "link", "text"),
    [
        (Bus("body", "slcan"), None, "listen-only, driver sets it (listen_only)"),
        (
            Bus("body", "slcan", listen_only=False),
            None,
            "listen_only = false: the adapter acknowledges frames; requests only with --allow-requests",
        ),
        (
            Bus("body", "ixxat"),
            None,
            "not possible: the adapter may acknowledge frames; busprobe sends nothing.",
        ),
        (
            Bus("body", "gs_usb"),
            None,
            ("not possible: the adapter may acknowledge frames; busprobe sends nothing. "
            'On Linux the same adapter works with interface = "socketcan", listen-only.'),
        ),
        (CAN0, Link("can0", True, listen_only=True), "set outside: listen-only, read back from can0"),
        (
            CAN0,
            Link("can0", True),
            ("set outside: can0 is not listen-only, it acknowledges frames; busprobe sends nothing. To change it: "
            '"sudo ip link set can0 down", then "sudo ip link set can0 up type can bitrate 500000 listen-only on".'),
        ),
        (CAN0, Link("vcan0", True, is_virtual=True), "set outside: vcan0 has no wire, nothing to acknowledge"),
        (CAN0, None, 'set outside: it could not be read back; "ip -details link show can0" shows it.'),
        (
            Bus("body", "socketcand", "can0"),
            None,
            "set outside: it cannot be read back from here: look on the machine that serves it.",
        ),
        (Bus("body", "virtual"), None, "no wire: nothing to acknowledge"),
    ],
    ids=[
        "driver", "may send", "not possible", "not possible, Linux can", "read back", "not set", "no wire behind it",
        "not readable", "another machine", "no wire",
    ],
)  # fmt: skip
def test_what_the_user_is_told(bus: Bus, link: Link | None, text: str) -> None:
    assert listening_text(bus, link) == text


def test_it_is_part_of_the_health_of_a_bus() -> None:
    with SlcanAdapter() as adapter:
        options = {"sleep_after_open": 0}
        with opened(Bus("body", "slcan", adapter.port, 500_000, options=options)) as source:
            assert source.health().listening == "listen-only, driver sets it (listen_only)"
    with opened(udp_bus()) as source:
        assert source.health().listening == "no wire: nothing to acknowledge"
