"""What `adapters` finds, and what it says is missing."""

import threading
import time
from types import SimpleNamespace

import can
import pytest

from busprobe.report.adapters_text import NO_HARDWARE, NONE_FOUND, adapters_lines
from busprobe.sources import adapters, drivers, port_list
from busprobe.sources.adapters import Adapters, Found, find_adapters
from busprobe.sources.network_link import Link
from busprobe.sources.port_list import Port

STICK = Port("/dev/ttyACM0", "CAN stick b158aa7")


@pytest.fixture(autouse=True)
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Linux machine with nothing plugged in and every Python package of drivers there."""
    monkeypatch.setattr(drivers.sys, "platform", "linux")
    monkeypatch.setattr(drivers, "find_spec", lambda name: object())
    monkeypatch.setattr(adapters, "can_links", lambda: ())
    monkeypatch.setattr(adapters, "serial_ports", lambda: ())


def answering(monkeypatch: pytest.MonkeyPatch, **answers: object) -> None:
    """Drivers that answer with a list, raise an error, or wait for an event."""

    def module(name: str) -> object:
        answer = answers.get(name.rpartition(".")[2], [])

        def asked() -> object:
            if isinstance(answer, Exception):
                raise answer
            if isinstance(answer, threading.Event):
                answer.wait(20)
                return []
            return answer

        bus = SimpleNamespace(_detect_available_configs=asked)
        return SimpleNamespace(**{class_name: bus for _, class_name in can.interfaces.BACKENDS.values()})

    monkeypatch.setattr(adapters, "import_module", module)


def test_the_real_drivers_are_asked_without_trouble() -> None:
    """Their libraries are mostly not there; whatever they do about it ends in time."""
    start = time.monotonic()
    found = find_adapters(1.0)
    assert time.monotonic() - start < 20
    assert all(isinstance(adapter, Found) for adapter in found.found)


def test_what_drivers_find(monkeypatch: pytest.MonkeyPatch) -> None:
    answering(
        monkeypatch,
        kvaser=[
            {"interface": "kvaser", "channel": 0, "device_name": "Two channels", "serial": 12, "dongle_channel": 1}
        ],
        pcan=[{"interface": "pcan", "channel": "PCAN_USBBUS1", "device_id": 3, "supports_fd": True}],
        ics_neovi=[{"interface": "neovi", "serial": "AB1234"}],
    )
    found = find_adapters()
    assert found.found == (
        Found("kvaser", "0", "Two channels, serial 12, dongle_channel 1"),
        Found("neovi", "", "serial AB1234"),
        Found("pcan", "PCAN_USBBUS1", "device_id 3"),
    )
    assert "kvaser" not in dict(found.lacking).values()
    assert not found.is_empty


@pytest.mark.parametrize(
    "error",
    [
        ImportError("no"),
        OSError("no"),
        NameError("no"),
        NotImplementedError(),
        can.CanInterfaceNotImplementedError("no"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_a_driver_that_stumbles_takes_nothing_from_the_others(
    monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    answering(monkeypatch, kvaser=error, pcan=[{"channel": "PCAN_USBBUS1"}])
    assert find_adapters().found == (Found("pcan", "PCAN_USBBUS1"),)


def test_a_driver_that_hangs_is_left_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    never = threading.Event()
    answering(monkeypatch, kvaser=never, pcan=[{"channel": "PCAN_USBBUS1"}])
    found = find_adapters(0.2)
    assert found.slow == ("kvaser",)
    assert found.found == (Found("pcan", "PCAN_USBBUS1"),)
    assert "No answer yet from: kvaser. Give more time with --wait 10." in adapters_lines(found)
    never.set()


def test_daemons_on_the_network_are_heard_only_where_there_is_time(monkeypatch: pytest.MonkeyPatch) -> None:
    answering(monkeypatch, socketcand=[{"channel": "can0", "host": "10.0.0.7", "port": 29536}])
    assert find_adapters().found == ()
    assert find_adapters(4.0).found == (Found("socketcand", "can0", "host 10.0.0.7, port 29536"),)


def test_what_others_need(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drivers, "find_spec", lambda name: None if name in ("gs_usb", "ics") else object())
    answering(monkeypatch)
    assert find_adapters().lacking == (
        (
            "It works on Windows only, this is Linux.",
            ("etas", "iscan", "ixxat", "nican", "nixnet", "systec", "usb2can", "vector"),
        ),
        ('Install its Python package: pip install "python-can[gs-usb]".', ("gs_usb",)),
        (
            "Install the driver library of the adapter's maker; then plug the adapter in.",
            ("kvaser", "neousys", "pcan"),
        ),
        ('Install its Python package: pip install "python-can[neovi]".', ("neovi",)),
    )


# Serial ports.


def test_serial_ports_with_their_descriptions(monkeypatch: pytest.MonkeyPatch) -> None:
    infos = [("/dev/ttyS0", "n/a"), ("/dev/ttyUSB1", "I/O box"), ("/dev/ttyACM0", "CAN stick")]
    monkeypatch.setattr(
        port_list.list_ports, "comports", lambda: [SimpleNamespace(device=d, description=t) for d, t in infos]
    )
    monkeypatch.setattr(port_list.os, "access", lambda port, how: port != "/dev/ttyUSB1")
    monkeypatch.setattr(port_list, "_group", lambda port: "dialout")
    assert port_list.serial_ports() == (
        Port("/dev/ttyACM0", "CAN stick"),
        Port("/dev/ttyUSB1", "I/O box", 'no permission. Run "sudo usermod -a -G dialout $USER", log out and in again.'),
        Port("/dev/ttyS0", ""),
    )


# What is printed.


def test_nothing_found_says_what_to_do_next() -> None:
    lines = adapters_lines(Adapters(ports=(Port("/dev/ttyS0", ""),)))
    assert " ".join(lines).endswith(f"{NONE_FOUND} {NO_HARDWARE}")


def test_tables_of_what_was_found() -> None:
    text = "\n".join(
        adapters_lines(
            Adapters(
                found=(Found("gs_usb", "0", "stick"),),
                links=(
                    Link("can0", True, False, True, 500_000, "ERROR-ACTIVE"),
                    Link("can1", is_up=False),
                    Link("vcan0", True, is_virtual=True),
                ),
                ports=(STICK, Port("/dev/ttyUSB1", "I/O box", "no permission. Ask.")),
                lacking=(("Install something.", ("kvaser",)),),
            )
        )
    )
    assert (
        text
        == """\
Adapters
========
interface  channel  state                                                 listen-only
---------  -------  ----------------------------------------------------  -----------------------------
socketcan  can0     up, 500000 bit/s, ERROR-ACTIVE                        yes, set outside
socketcan  can1     down: run "sudo ip link set can1 up type can bitrate  set outside
                    500000 listen-only on" with the bit rate of the bus
socketcan  vcan0    up                                                    no wire: nothing to
                                                                          acknowledge
gs_usb     0        stick                                                 not possible: the adapter may
                                                                          acknowledge frames

Serial ports
============
port          description        access
------------  -----------------  -------------------
/dev/ttyACM0  CAN stick b158aa7  allowed
/dev/ttyUSB1  I/O box            no permission. Ask.

An adapter that speaks slcan is one of these: interface = "slcan", channel = the
port. So are input boxes.

Other adapters
==============
interface  needs
---------  ------------------
kvaser     Install something.

Next: write "interface", "channel" and "bitrate" into a [[bus]] of the bench
file; "busprobe listen-rate socketcan:can0" finds the bit rate of a bus by
listening.
Without any hardware: interface = "udp_multicast" (programs on this machine,
such as "busprobe simulate") and "virtual" (one program)."""
    )
