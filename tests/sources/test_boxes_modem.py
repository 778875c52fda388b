"""The driver "modem-lines": pseudo-terminals have no such lines, so a port is made up for the reading."""

import errno

import pytest
from boxed import ShiftedClock, box, read_until, read_until_given_up

from busprobe.errors import DeviceError
from busprobe.sources.clock import Clock
from busprobe.sources.modem_box import modem_box
from busprobe.van.pseudo_port import PseudoPort

MS = 1_000_000


class Adapter:
    """Four lines that can be set, as pyserial shows them."""

    def __init__(self) -> None:
        self.cts = self.dsr = self.cd = self.ri = False
        self.is_open = True

    def close(self) -> None:
        self.is_open = False


class Unplugged(Adapter):
    """An adapter that goes away after some readings."""

    def __init__(self, readings: int, error: OSError) -> None:
        super().__init__()
        self._left = readings
        self._error = error

    def __getattribute__(self, name: str) -> object:
        if name == "cts":
            self._left -= 1
            if self._left < 0:
                raise self._error
        return super().__getattribute__(name)


@pytest.mark.parametrize(
    ("asserted", "levels", "mask"),
    [
        ((), "rs232", 0b0000),
        (("cts",), "rs232", 0b0001),
        (("dsr",), "rs232", 0b0010),
        (("cd",), "rs232", 0b0100),
        (("ri",), "rs232", 0b1000),
        (("cts", "ri"), "rs232", 0b1001),
        ((), "ttl", 0b1111),
        (("dsr", "cd"), "ttl", 0b1001),
    ],
)
def test_lines_by_number(asserted: tuple[str, ...], levels: str, mask: int) -> None:
    """Asserted is positive with RS-232 levels, and low with logic levels."""
    adapter = Adapter()
    for name in asserted:
        setattr(adapter, name, True)
    source = modem_box(box("modem-lines", "COM3", on_off=4, levels=levels), lambda *_: adapter)
    source.open(Clock())
    batch = read_until(source, lambda b: len(b) >= 2)
    assert set(batch.mask.tolist()) == {mask}
    assert batch.analogue is None
    source.close()
    assert not adapter.is_open


@pytest.mark.parametrize(("latency", "least"), [({}, 16 * MS), ({"latency": "0 ms"}, 0), ({"latency": "1 ms"}, MS)])
def test_the_latency_of_the_adapter_is_part_of_the_uncertainty(latency: dict[str, str], least: int) -> None:
    source = modem_box(box("modem-lines", "COM3", on_off=4, ms=1, **latency), lambda *_: Adapter())
    source.open(Clock())
    batch = read_until(source, lambda b: len(b) >= 20)
    health = source.health()
    assert least < health.uncertainty_ns
    assert health.period_ns is not None
    assert (health.records, health.errors) == (len(batch), 0)


class ShutLid(Adapter):
    """An adapter on whose reading the computer may sleep for half an hour."""

    def __init__(self, clock: ShiftedClock) -> None:
        super().__init__()
        self._clock = clock
        self.sleeps = False

    def __getattribute__(self, name: str) -> object:
        if name == "cts" and self.sleeps:
            self._clock.ahead_ns += 1_800_000_000_000
        return super().__getattribute__(name)


def test_an_answer_from_before_a_sleep_is_left_out() -> None:
    clock = ShiftedClock()
    adapter = ShutLid(clock)
    source = modem_box(box("modem-lines", "COM3", on_off=4), lambda *_: adapter)
    source.open(clock)
    adapter.sleeps = True
    assert len(source.read()) == 0
    assert source.health().state == 'An answer of the input box "box" came after 30 min and is left out.'
    adapter.sleeps = False
    assert len(read_until(source, lambda b: len(b) >= 1)) == 1
    source.close()


def test_unplugged() -> None:
    source = modem_box(
        box("modem-lines", "COM3", on_off=4), lambda *_: Unplugged(3, OSError(errno.EIO, "Input/output error"))
    )
    source.open(Clock())
    _, text = read_until_given_up(source)
    assert text == (
        'The input box "box" on "COM3" is gone: it was unplugged, or its port was closed.\n'
        "Plug it in again; it is then opened anew."
    )
    source.close()


def test_a_port_without_modem_lines() -> None:
    """A real pseudo-terminal, opened by the real driver."""
    pty = PseudoPort()
    source = modem_box(box("modem-lines", pty.path, on_off=4))
    with pytest.raises(DeviceError) as caught:
        source.open(Clock())
    assert str(caught.value) == (
        f'The serial port "{pty.path}" of the input box "box" has no modem lines.\n'
        "Use an adapter that brings out CTS, DSR, DCD and RI."
    )
    source.close()
    pty.close()


def test_missing_at_the_start() -> None:
    with pytest.raises(DeviceError) as caught:
        modem_box(box("modem-lines", "/dev/ttyUSB99", on_off=4)).open(Clock())
    assert caught.value.message.startswith('Input box "box": there is no serial port "/dev/ttyUSB99".')
