"""The driver "text-lines" on real pseudo-terminals."""

import errno
import random
import termios
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from boxed import PacedClock, ShiftedClock, box, read_until, read_until_given_up
from serial import SerialException
from serial.tools import list_ports

from busprobe.errors import DeviceError
from busprobe.sources.box_options import SerialSettings
from busprobe.sources.clock import Clock
from busprobe.sources.ports import van_port
from busprobe.sources.serial_port import open_error, open_port
from busprobe.sources.text_box import TextBox
from busprobe.van.box_ports import Levels, TextLinePort, text_line
from busprobe.van.pseudo_port import PseudoPort

MS = 1_000_000
WORD = (1 << 14) - 1


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def paced() -> Clock:
    """For lines that are printed once: on a clock of the machine one that came while it was busy is left out."""
    return PacedClock()


@pytest.fixture
def pty() -> Iterator[PseudoPort]:
    """A port on which the test itself prints."""
    port = PseudoPort()
    yield port
    port.close()


def counted(t_ns: int) -> Levels:
    """Levels that count the samples of a box with a period of 5 ms, and a voltage that follows."""
    count = t_ns // (5 * MS)
    return Levels(count & WORD, (count & WORD, 12_600))


def lines_of(first_us: int, masks: list[int], *, step_us: int = 10_000) -> bytes:
    return b"".join(text_line(first_us + k * step_us, Levels(mask), 8) for k, mask in enumerate(masks))


def opened(source: TextBox, clock: Clock) -> TextBox:
    source.open(clock)
    return source


def test_every_sample_once_with_its_time(clock: Clock) -> None:
    with TextLinePort(counted, 14, period_ns=5 * MS, now_ns=clock.now_ns) as port:
        source = opened(TextBox(box("text-lines", port.port, on_off=14, analogue=2, ms=5)), clock)
        batch = read_until(source, lambda b: len(b) >= 120)
        health = source.health()
        source.close()
        source.close()
    steps = np.diff(batch.mask.astype(np.int64)) & WORD
    assert set(steps.tolist()) == {1}
    assert batch.analogue is not None
    assert batch.analogue[:, 0].tolist() == batch.mask.tolist()
    assert set(batch.analogue[:, 1].tolist()) == {12_600}
    assert (np.diff(batch.t_ns) >= 0).all()
    assert health.records == len(batch)
    assert health.errors == 0
    assert health.state == ""
    # The board's own clock: exact on a loaded machine too.
    assert health.period_ns == pytest.approx(5 * MS, abs=0.2 * MS)


def test_stamps_are_mapped_by_the_least_delay(clock: Clock) -> None:
    """A sample's time is when it was due, but for the least delay of the newest 30 s."""
    with TextLinePort(counted, 14, period_ns=5 * MS, now_ns=clock.now_ns) as port:
        source = opened(TextBox(box("text-lines", port.port, on_off=14, ms=5)), clock)
        batch = read_until(source, lambda b: len(b) >= 100)
        source.close()
    newest = batch.t_ns[-20:]
    due_count = (newest // (5 * MS)) & WORD
    late = (due_count - batch.mask[-20:].astype(np.int64)) & WORD
    assert set(late.tolist()) <= {0, 1, 2}


def test_microseconds_that_start_again_after_2_32(clock: Clock) -> None:
    first_us = 2**32 - 200_000
    with TextLinePort(counted, 14, period_ns=5 * MS, now_ns=clock.now_ns, first_us=first_us) as port:
        source = opened(TextBox(box("text-lines", port.port, on_off=14, ms=5)), clock)
        batch = read_until(source, lambda b: len(b) >= 120)
        errors = source.health().errors
        source.close()
    assert errors == 0
    assert set((np.diff(batch.mask.astype(np.int64)) & WORD).tolist()) == {1}
    span = int(batch.t_ns[-1] - batch.t_ns[0])
    assert span == pytest.approx((len(batch) - 1) * 5 * MS, abs=300 * MS)


def test_batches_come_steadily_and_say_how_far_they_are_complete(clock: Clock) -> None:
    with TextLinePort(counted, 14, period_ns=5 * MS, now_ns=clock.now_ns) as port:
        complete = clock.now_ns()
        source = opened(TextBox(box("text-lines", port.port, on_off=14, ms=5)), clock)
        for _ in range(12):
            batch = source.read()
            assert batch.complete_to_ns is not None
            assert complete <= batch.complete_to_ns <= clock.now_ns()
            assert all(complete <= t <= batch.complete_to_ns for t in batch.t_ns.tolist())
            complete = batch.complete_to_ns
        source.close()


def test_rubbish_and_half_lines_are_left_out_and_counted(paced: Clock, pty: PseudoPort) -> None:
    source = opened(TextBox(box("text-lines", pty.path)), paced)
    pty.write(b"half a li" + b"ne\n" + lines_of(1_000_000, [1, 2, 3]))
    pty.write(random.Random(3).randbytes(300).replace(b"\n", b".") + b"\n")
    pty.write(b"1030000 0010\r\n" + b"\r\n# a remark\r\n" + lines_of(1_030_000, [4, 5]) + b"1050000 0010")
    batch = read_until(source, lambda b: len(b) >= 4)
    assert batch.mask.tolist() == [2, 3, 4, 5]
    assert source.health().errors == 2
    pty.write(b"0000\n")
    while source.health().errors < 3:
        source.read()
    assert source.health().state == 'unreadable line "1050000 00100000"'
    (found,) = source.health().faults
    assert (found.kind, found.count) == ("unreadable line", 3)
    assert found.last == f'The input box "box" on "{pty.path}" printed "1050000 00100000".'
    assert found.hint == 'Look at its cable, plug and ground; compare "baudrate" (115200) with the board.'
    pty.write(lines_of(1_060_000, [6]))
    assert read_until(source, lambda b: len(b) >= 1).mask.tolist() == [6]
    assert source.health().state == ""
    source.close()


def test_a_board_that_starts_again(paced: Clock, pty: PseudoPort) -> None:
    source = opened(TextBox(box("text-lines", pty.path)), paced)
    pty.write(b"\n" + lines_of(900_000_000, [1, 2, 3]))
    first = read_until(source, lambda b: len(b) >= 2)
    pty.write(lines_of(1_000, [7, 8, 9]))
    second = read_until(source, lambda b: len(b) >= 2)
    assert (first.mask.tolist(), second.mask.tolist()) == ([2, 3], [8, 9])
    assert first.complete_to_ns is not None
    assert int(second.t_ns[0]) >= int(first.t_ns[-1])
    assert source.health().errors == 1
    source.close()


def test_a_slow_box_is_complete_to_a_little_before_now_between_its_lines(paced: Clock, pty: PseudoPort) -> None:
    source = opened(TextBox(box("text-lines", pty.path, ms=600_000)), paced)
    pty.write(b"\n" + lines_of(1_000_000, [1, 2]))
    newest = int(read_until(source, lambda b: len(b) >= 1).t_ns[-1])
    ahead = newest
    for _ in range(4):
        batch = source.read()
        assert batch.complete_to_ns is not None
        ahead = batch.complete_to_ns
    assert ahead >= newest + 50 * MS
    pty.write(lines_of(1_020_000, [3]))
    assert int(read_until(source, lambda b: len(b) >= 1).t_ns[-1]) >= ahead
    source.close()


def test_a_silent_box_holds_its_time_and_is_then_given_up(paced: Clock, pty: PseudoPort) -> None:
    source = opened(TextBox(box("text-lines", pty.path, timeout="300 ms")), paced)
    pty.write(b"\n" + lines_of(1_000_000, [1, 2]))
    newest = int(read_until(source, lambda b: len(b) >= 1).t_ns[-1])
    last, text = read_until_given_up(source)
    assert last <= newest + 50 * MS
    assert text == (
        f'The input box "box" on "{pty.path}" has printed nothing for 300 ms.\n'
        "Look whether the board has power, its program runs, and this is its port."
    )
    source.close()


def test_a_sleep_of_the_computer_is_no_silence_of_the_box(pty: PseudoPort) -> None:
    clock = ShiftedClock()

    def opener(*given: Any) -> Any:
        port = open_port(*given)
        read = port.read

        def sleepy(size: int) -> bytes:
            clock.ahead_ns = asleep_ns
            return bytes(read(size))

        port.read = sleepy
        return port

    asleep_ns, board_us = 0, 1_000_000

    def until_it_says(mask: int) -> None:
        """Printed again and again: a line that waited while the machine was busy is left out."""
        nonlocal board_us
        heard: list[int] = []
        while mask not in heard:
            board_us += 10_000
            pty.write(lines_of(board_us, [mask]))
            heard = source.read().mask.tolist()

    source = opened(TextBox(box("text-lines", pty.path), opener), clock)
    pty.write(b"\n")
    until_it_says(1)
    asleep_ns = 3_600_000_000_000
    assert len(source.read()) == 0
    until_it_says(3)
    source.close()


def test_a_box_whose_lines_nobody_can_time_is_not_silent(pty: PseudoPort) -> None:
    """The program gets a look at the port only every so often, too seldom to say when a line was printed."""
    clock = ShiftedClock()
    source = opened(TextBox(box("text-lines", pty.path, timeout="200 ms")), clock)
    pty.write(b"\n")
    for k in range(12):
        clock.ahead_ns += 500_000_000
        pty.write(lines_of(1_000_000 + 500_000 * k, [k]))
        source.read()
    source.close()


def test_a_box_is_not_silent_for_what_nobody_has_looked_at(pty: PseudoPort) -> None:
    """The program is held up after a look that found nothing, for longer than the box may be silent."""
    clock, looks, held_at = ShiftedClock(), 0, 0

    def opener(*given: Any) -> Any:
        port = open_port(*given)
        read = port.read

        def then_held_up(size: int) -> bytes:
            nonlocal looks
            found = bytes(read(size))
            looks += 1
            clock.ahead_ns += 400_000_000 * (looks == held_at)
            return found

        port.read = then_held_up
        return port

    source = opened(TextBox(box("text-lines", pty.path, timeout="300 ms"), opener), clock)
    pty.write(b"\n" + lines_of(1_000_000, [1, 2]))
    source.read()
    held_at = looks + 1
    source.read()
    pty.write(lines_of(1_400_000, [3, 4]))
    source.read()
    source.close()


def test_nothing_but_rubbish(paced: Clock, pty: PseudoPort) -> None:
    source = opened(TextBox(box("text-lines", pty.path, timeout="200 ms")), paced)
    pty.write(b"\n" + lines_of(1_000_000, [1, 2]))
    read_until(source, lambda b: len(b) >= 1)
    pty.write(b"\xfe\x80\x00speed\n")
    _, text = read_until_given_up(source)
    assert text == (
        rf'The input box "box" on "{pty.path}" has printed no readable line for 200 ms; the newest is '
        '"\\xfe\\x80\\x00speed".\n'
        'Compare "baudrate" (115200) and the format of the lines with the board.'
    )
    source.close()


@pytest.mark.parametrize(
    ("on_off", "analogue", "text"),
    [
        (9, 0, 'The input box "box" prints 8 on/off lines; "line8" has the number "8".'),
        (8, 1, 'The input box "box" prints 0 analogue lines; "volts0" has the number "0".'),
    ],
)
def test_lines_that_the_box_does_not_print(
    on_off: int, analogue: int, text: str, clock: Clock, pty: PseudoPort
) -> None:
    source = opened(TextBox(box("text-lines", pty.path, on_off=on_off, analogue=analogue)), clock)
    pty.write(b"\n" + lines_of(1_000_000, [1, 2]))
    with pytest.raises(DeviceError) as caught:
        read_until(source, lambda b: len(b) >= 1)
    assert caught.value.message == text
    source.close()


def test_unplugged_and_back(paced: Clock, pty: PseudoPort) -> None:
    source = opened(TextBox(box("text-lines", pty.path)), paced)
    pty.write(b"\n" + lines_of(1_000_000, [1, 2]))
    read_until(source, lambda b: len(b) >= 1)
    pty.close()
    _, text = read_until_given_up(source)
    assert text == (
        f'The input box "box" on "{pty.path}" is gone: it was unplugged, or its port was closed.\n'
        "Plug it in again; it is then opened anew."
    )
    source.close()


def test_what_was_printed_before_opening_does_not_count(paced: Clock, pty: PseudoPort) -> None:
    pty.write(b"\n" + lines_of(1_000_000, [9, 9, 9]))
    source = opened(TextBox(box("text-lines", pty.path)), paced)
    begun = paced.now_ns()
    pty.write(b"\n" + lines_of(1_100_000, [1, 2]))
    batch = read_until(source, lambda b: len(b) >= 1)
    assert int(batch.t_ns[0]) >= begun - 50 * MS
    assert batch.mask[-1] == 2
    source.close()


# Ports that do not open.


class _Listed:
    def __init__(self, device: str) -> None:
        self.device, self.description = device, "n/a"


def refusal(port: str, **options: object) -> str:
    with pytest.raises(DeviceError) as caught:
        TextBox(box("text-lines", port, **options)).open(Clock())
    return str(caught.value)


def test_missing_at_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_ports, "comports", lambda: [_Listed("/dev/ttyUSB0"), _Listed("/dev/ttyS4")])
    text = refusal("/dev/ttyUSB99")
    assert text.startswith(
        'Input box "box": there is no serial port "/dev/ttyUSB99". Nearest known name: "/dev/ttyUSB0".\n'
        'Ports there: "/dev/ttyS4", "/dev/ttyUSB0".'
    )


def test_missing_where_there_is_no_port_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_ports, "comports", list)
    text = refusal("/dev/ttyUSB99")
    assert text.startswith('Input box "box": there is no serial port "/dev/ttyUSB99".\nNo serial port is there.')


def test_missing_port_of_the_simulated_van() -> None:
    assert not van_port("van-no-such-box").exists()
    assert refusal("van-no-such-box") == (
        'Input box "box": there is no port "van-no-such-box" of the simulated van.\n'
        'Run "busprobe simulate" beside this.'
    )


def test_the_port_of_the_simulated_van_is_found_by_name(clock: Clock) -> None:
    link = van_port("van-test-box")
    with TextLinePort(counted, 14, period_ns=5 * MS, link=link):
        source = opened(TextBox(box("text-lines", "van-test-box", ms=5)), clock)
        read_until(source, lambda b: len(b) >= 1)
        source.close()
    assert not link.is_symlink()


def test_a_port_in_use(clock: Clock, pty: PseudoPort) -> None:
    source = opened(TextBox(box("text-lines", pty.path)), clock)
    assert refusal(pty.path).startswith(
        f'Input box "box": the serial port "{pty.path}" is in use by another program.\n'
    )
    source.close()
    opened(source, clock).close()


def test_a_file_that_is_no_port() -> None:
    assert refusal("/dev/null") == (
        'Input box "box": "/dev/null" is no serial port, or nothing is connected to it.\n'
        '"busprobe adapters" describes every port.'
    )


def test_settings_that_the_port_does_not_take() -> None:
    """As the system says it of parity on some ports."""
    error = termios.error(errno.EINVAL, "Invalid argument")
    refused = open_error("box", SerialSettings("/dev/ttyUSB7", 115_200, "E", 1), error)
    assert str(refused) == (
        'Input box "box": the serial port "/dev/ttyUSB7" does not take these settings: '
        '115200 baud, parity E, 1 stop bit.\nChange "baudrate", "parity" or "stopbits" in the bench file.'
    )


def test_no_permission() -> None:
    """As pyserial says it; whoever runs the tests may be allowed everything."""
    error = SerialException(errno.EACCES, "could not open port /dev/ttyUSB7: [Errno 13] Permission denied")
    refused = open_error("box", SerialSettings("/dev/ttyUSB7", 115_200, "N", 1), error)
    assert refused.message == 'Input box "box": no permission for the serial port "/dev/ttyUSB7".'
    assert refused.hint
