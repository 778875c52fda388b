"""The driver "modbus" against pymodbus's own server, and against scripted answers."""

import dataclasses
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from boxed import ScriptedPort, box, crc16, read_until, read_until_given_up

from busprobe.bench.model import InputBox
from busprobe.errors import DeviceError
from busprobe.sources.boxes import open_box
from busprobe.sources.clock import Clock
from busprobe.sources.modbus_box import modbus_box
from busprobe.sources.polled_box import FAULTS_IN_A_ROW, FIRST_POLLS, PolledBox
from busprobe.van.box_ports import Levels, ModbusPort
from busprobe.van.pseudo_port import PseudoPort

MS = 1_000_000
MASK = 0x8000_0000_0001_A5C3


def steady(_: int) -> Levels:
    return Levels(MASK, (12_840, 9_105, 0))


def served(port: ModbusPort, **more: Any) -> InputBox:
    """A box on a simulated port, with patience: the machine may be busy."""
    return box("modbus", port.port, **({"timeout": "2 s"} | more))


@pytest.fixture
def clock() -> Clock:
    return Clock()


# Against the server, over two pseudo-terminals.


@pytest.mark.parametrize(
    ("options", "on_off", "analogue", "mask", "millivolts"),
    [
        pytest.param({}, 16, 0, 0xA5C3, None, id="discrete inputs"),
        pytest.param({"table": "coils"}, 16, 0, 0xA5C3, None, id="coils"),
        pytest.param({}, 3, 0, 0b011, None, id="no line beyond the greatest number"),
        pytest.param({}, 64, 0, MASK, None, id="64 lines"),
        pytest.param({"first": 6}, 4, 0, 0b0111, None, id="first address"),
        pytest.param({}, 0, 3, 0, [12_840, 9_105, 0], id="input registers"),
        pytest.param({"first_register": 1}, 0, 2, 0, [9_105, 0], id="first register"),
        pytest.param({"table": "registers"}, 20, 0, 9_105 << 16 & 0xFFFFF | 12_840, None, id="bits of registers"),
        pytest.param({}, 8, 2, 0xC3, [12_840, 9_105], id="both in one poll"),
    ],
)
def test_tables(
    options: dict[str, object], on_off: int, analogue: int, mask: int, millivolts: list[int] | None, clock: Clock
) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port, on_off=on_off, analogue=analogue, ms=20, **options))
        source.open(clock)
        batch = read_until(source, lambda b: len(b) >= 2)
        source.close()
    assert set(batch.mask.tolist()) == {mask}
    if millivolts is None:
        assert batch.analogue is None
    else:
        assert batch.analogue is not None
        assert batch.analogue.tolist() == [millivolts] * len(batch)


@pytest.mark.parametrize(
    ("scale", "signed", "wire"),
    [
        (1.0, False, (12_840, 65_535)),
        (2.5, False, (12_840, 30_000)),
        (1.0, True, (12_840, -40)),
        (0.5, True, (9, -16_384)),
    ],
)
def test_scale_and_sign(scale: float, signed: bool, wire: tuple[int, int], clock: Clock) -> None:
    with ModbusPort(lambda _: Levels(0, wire), scale=scale) as port:
        source = open_box(served(port, on_off=0, analogue=2, ms=20, scale=scale, signed=signed))
        source.open(clock)
        batch = read_until(source, lambda b: len(b) >= 1)
        source.close()
    assert batch.analogue is not None
    assert batch.analogue[0].tolist() == list(wire)


def test_a_sample_lies_between_request_and_answer(clock: Clock) -> None:
    """The levels are the time at which the box was asked, so each sample says by how much its stamp is out."""
    with ModbusPort(Levels, now_ns=clock.now_ns) as port:
        source = open_box(served(port, on_off=64, ms=10, baudrate=1_000_000))
        source.open(clock)
        batch = read_until(source, lambda b: len(b) >= 60)
        health = source.health()
        source.close()
        source.close()
    assert (np.diff(batch.t_ns) > 0).all()
    out = np.abs(batch.t_ns - batch.mask.astype(np.int64))
    assert (out[-50:] <= health.uncertainty_ns).all()
    assert (health.records, health.errors) == (len(batch), 0)
    assert health.period_ns is not None
    assert health.period_ns >= 9 * MS


def test_batches_say_how_far_they_are_complete(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port, ms=10))
        source.open(clock)
        complete = 0
        for _ in range(6):
            batch = source.read()
            assert batch.complete_to_ns is not None
            assert complete < batch.complete_to_ns <= clock.now_ns()
            assert all(complete <= t <= batch.complete_to_ns for t in batch.t_ns.tolist())
            complete = batch.complete_to_ns
        source.close()


def test_a_box_read_once_a_second_gives_empty_batches_between(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port, ms=60_000))
        source.open(clock)
        batches = [source.read() for _ in range(4)]
        source.close()
    assert [len(batch) for batch in batches] == [1, 0, 0, 0]
    complete = [batch.complete_to_ns or 0 for batch in batches]
    assert complete == sorted(set(complete))


def test_exceptions_are_counted_and_then_the_box_is_given_up(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port))
        source.open(clock)
        newest = int(read_until(source, lambda b: len(b) >= 1).t_ns[-1])
        port.exception = 2
        # A poll that is under way may still be answered.
        complete, text = read_until_given_up(source)
        assert newest <= complete
        assert text == (
            f'The input box "box" on "{port.port}" answers with Modbus exception 2 (illegal data address). '
            f'That was so {FAULTS_IN_A_ROW} times in a row.\nCompare "table", "first" and "first_register" with its '
            "manual; addresses start at 0."
        )
        assert source.health().errors == FAULTS_IN_A_ROW
        assert "illegal data address" in source.health().state
        source.close()


def test_a_box_that_answers_again(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port))
        source.open(clock)
        read_until(source, lambda b: len(b) >= 1)
        port.exception = 6
        while not source.health().errors:
            held = source.read().complete_to_ns
        port.exception = None
        batch = read_until(source, lambda b: len(b) >= 1)
        assert held is not None
        assert int(batch.t_ns[0]) > held
        assert source.health().state == ""
        source.close()


def test_a_wire_full_of_noise(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port, timeout="100 ms"))
        source.open(clock)
        read_until(source, lambda b: len(b) >= 1)
        port.noise = b"\x01\x02\xff\x00\x13"
        _, text = read_until_given_up(source)
        source.close()
    assert text.startswith(f'The input box "box" on "{port.port}" gives a damaged answer (')
    assert 'Compare "baudrate" and "parity" with the box' in text


def test_no_answer_at_the_start(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        port.is_silent = True
        source = open_box(served(port, timeout="20 ms", unit=17))
        with pytest.raises(DeviceError) as caught:
            source.open(clock)
    assert str(caught.value) == (
        f'The input box "box" on "{port.port}" does not answer within 20 ms.\n'
        "Asked for unit 17 at 115200 baud, parity N, 2 stop bits: compare with the box; then its supply."
    )


def test_the_wrong_unit_is_not_answered_for(clock: Clock) -> None:
    """A server that answers for another unit than was asked."""
    with ModbusPort(steady, unit=2) as port:
        source = open_box(served(port, unit=3, timeout="20 ms"))
        with pytest.raises(DeviceError):
            source.open(clock)
        source = open_box(served(port, unit=2))
        source.open(clock)
        source.close()


def test_unplugged(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port))
        source.open(clock)
        read_until(source, lambda b: len(b) >= 1)
    _, text = read_until_given_up(source)
    assert text.startswith(f'The input box "box" on "{port.port}" is gone: it was unplugged, or its port was closed.\n')
    source.close()


def test_missing_at_the_start(clock: Clock) -> None:
    with pytest.raises(DeviceError) as caught:
        open_box(box("modbus", "/dev/ttyUSB99")).open(clock)
    assert caught.value.message.startswith('Input box "box": there is no serial port "/dev/ttyUSB99".')


def test_opened_again_after_it_was_lost(clock: Clock) -> None:
    with ModbusPort(steady) as port:
        source = open_box(served(port))
        for _ in range(2):
            source.open(clock)
            assert len(read_until(source, lambda b: len(b) >= 1))
            source.close()


# Against scripted answers.

Scripted = Callable[..., tuple[PolledBox, ScriptedPort]]


@pytest.fixture
def scripted(clock: Clock) -> Scripted:
    """A box, opened on a port that answers as told; the first answer is for the poll while opening."""

    def make(described: InputBox, *answers: bytes | None) -> tuple[PolledBox, ScriptedPort]:
        port = ScriptedPort(list(answers))
        source = modbus_box(described, lambda *_: port)
        source.open(clock)
        return source, port

    return make


def framed(text: str) -> bytes:
    data = bytes.fromhex(text)
    return data + crc16(data)


def test_check_of_frames() -> None:
    """CRC-16/MODBUS of "123456789" is 4B37 in the catalogues of checks (from memory)."""
    assert crc16(b"123456789") == bytes.fromhex("374B")


@pytest.mark.parametrize(
    ("options", "on_off", "analogue", "request_", "answer", "mask", "millivolts"),
    [
        # MODBUS Application Protocol Specification V1.1b3, sections 6.1, 6.2 and 6.4 (from memory).
        pytest.param(
            {"table": "coils", "first": 19}, 19, 0, "01 01 0013 0013", "01 01 03 CD6B05", 0x56BCD, [], id="6.1"
        ),
        pytest.param({"first": 196}, 22, 0, "01 02 00C4 0016", "01 02 03 ACDB35", 0x35DBAC, [], id="6.2"),
        pytest.param({"first_register": 8}, 0, 1, "01 04 0008 0001", "01 04 02 000A", 0, [10], id="6.4"),
    ],
)
def test_examples_of_the_specification(
    options: dict[str, object], on_off: int, analogue: int, request_: str, answer: str, mask: int,
    millivolts: list[int], scripted: Scripted,
) -> None:  # fmt: skip
    source, port = scripted(
        box("modbus", "COM3", on_off=on_off, analogue=analogue, ms=1000, **options), framed(answer), framed(answer)
    )
    batch = source.read()
    assert port.requests == [framed(request_)] * 2
    assert batch.mask.tolist() == [mask & (1 << on_off) - 1]
    assert (batch.analogue is None and not millivolts) or batch.analogue is not None
    if batch.analogue is not None:
        assert batch.analogue.tolist() == [millivolts]


GOOD = framed("01 02 01 05")
EXCEPTION = "Modbus exception"


@pytest.mark.parametrize(
    ("answer", "kind", "text", "hint"),
    [
        (
            framed("01 82 01"),
            "Modbus exception",
            "answers with Modbus exception 1 (illegal function).",
            'change "table"',
        ),
        (
            framed("01 82 02"),
            "Modbus exception",
            "answers with Modbus exception 2 (illegal data address).",
            "start at 0",
        ),
        (
            framed("01 82 0B"),
            "Modbus exception",
            "answers with Modbus exception 11 (see its manual).",
            "Look the code up",
        ),
        (GOOD[:4], "damaged answer", "gives a damaged answer (4 bytes).", '"parity"'),
        (GOOD[:-1] + b"\x00", "damaged answer", "gives a damaged answer (6 bytes).", '"parity"'),
        (b"\xff" * 40, "damaged answer", "gives a damaged answer (40 bytes).", '"parity"'),
        (framed("02 02 01 05"), "damaged answer", "gives a damaged answer (6 bytes).", '"parity"'),
        (None, "time-out", "does not answer within 39.8 ms.", "unit 1 at 115200 baud"),
    ],
)
def test_a_poll_that_goes_wrong(answer: bytes | None, kind: str, text: str, hint: str, scripted: Scripted) -> None:
    source, _ = scripted(box("modbus", "COM3"), GOOD, answer, GOOD)
    held = source.read()
    assert len(held) == 0
    health = source.health()
    assert (health.records, health.errors, health.state) == (0, 1, f'The input box "box" on "COM3" {text}')
    ((found, count, last, told),) = [dataclasses.astuple(fault) for fault in health.faults]
    assert (found, count, last) == (kind, 1, health.state)
    assert hint in told
    # It answers again: the batch ends with that sample, so that nobody waits for it.
    again = source.read()
    assert again.mask.tolist() == [5]
    assert held.complete_to_ns is not None
    assert int(again.t_ns[0]) > held.complete_to_ns
    # While it is opened it may go wrong twice.
    scripted(box("modbus", "COM3"), answer, answer, GOOD)
    with pytest.raises(DeviceError) as caught:
        scripted(box("modbus", "COM3"), *[answer] * FIRST_POLLS)
    assert caught.value.message == f'The input box "box" on "COM3" {text}'
    assert hint in (caught.value.hint or "")


def test_fewer_values_than_asked_for(scripted: Scripted) -> None:
    source, _ = scripted(
        box("modbus", "COM3", on_off=0, analogue=2), framed("01 04 04 0001 0002"), framed("01 04 02 0001")
    )
    source.read()
    assert source.health().state == 'The input box "box" on "COM3" gives 1 of 2 values.'


def test_a_late_answer_does_not_pass_for_the_next_one(scripted: Scripted) -> None:
    stale = framed("01 02 01 07")
    source, port = scripted(box("modbus", "COM3"), GOOD, None, GOOD)
    source.read()
    port.put(stale)
    batch = source.read()
    assert len(batch) == 0
    assert source.health().state == 'The input box "box" on "COM3" answers later than its time-out of 39.8 ms.'
    assert source.read().mask.tolist() == [5]


class BabblingPort(ScriptedPort):
    """Answers, falls silent, and from then on somebody else talks on the pair without a pause."""

    babbles = False

    @property
    def in_waiting(self) -> int:
        return 3 if self.babbles else len(self._waiting)

    def read(self, size: int = 1) -> bytes:
        if self.babbles:
            time.sleep(0.0005)
            return b"\x55" * max(size, 1)
        return super().read(size)


@pytest.mark.parametrize("pause_s", [0.0, 0.02], ids=["fast", "slow"])
def test_a_line_that_never_falls_silent_is_a_fault_and_holds_nobody_up(pause_s: float) -> None:
    """After a poll without an answer the line has to be silent first; by bytes or by time that has an end."""
    port = BabblingPort([GOOD, None, *[GOOD] * 20])
    slow = port.read

    def read(size: int = 1) -> bytes:
        time.sleep(pause_s if port.babbles else 0.0)
        return slow(size)

    port.read = read  # type: ignore[method-assign]
    source = modbus_box(box("modbus", "COM3"), lambda *_: port)
    source.open(Clock())
    source.read()
    assert source.health().state.endswith("does not answer within 39.8 ms.")
    port.babbles = True
    begun = time.monotonic()
    source.read()
    assert time.monotonic() - begun < 15.0  # without an end it would be for ever
    told = 'The input box "box" on "COM3" is talked over: the line does not fall silent, so that nothing can be asked.'
    assert source.health().state == told
    _, said = read_until_given_up(source)
    assert "Something else talks on the pair" in said
    assert len(port.requests) == 2, "nothing is asked meanwhile"
    source.close()


def test_once_the_line_is_silent_again_the_box_is_asked() -> None:
    port = BabblingPort([GOOD, None, GOOD])
    source = modbus_box(box("modbus", "COM3"), lambda *_: port)
    source.open(Clock())
    source.read()
    port.babbles = True
    source.read()
    port.babbles = False
    assert source.read().mask.tolist() == [5]
    source.close()


def test_any_rubbish_is_a_counted_fault(scripted: Scripted) -> None:
    rng = np.random.default_rng(4)
    for _ in range(300):
        rubbish = rng.bytes(int(rng.integers(1, 60)))
        source, _ = scripted(box("modbus", "COM3"), GOOD, rubbish)
        assert len(source.read()) == 0
        assert source.health().errors == 1


def test_a_port_that_fails_in_the_middle(scripted: Scripted) -> None:
    source, port = scripted(box("modbus", "COM3"), GOOD)

    def broken(_: bytes) -> int:
        raise OSError(5, "Input/output error")

    port.write = broken  # type: ignore[method-assign]
    with pytest.raises(DeviceError, match="is gone"):
        source.read()
    assert not port.is_open


def test_no_pseudo_terminals(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("busprobe.van.pseudo_port.os.name", "nt")
    with pytest.raises(DeviceError) as caught:
        PseudoPort()
    assert caught.value.message == (
        "This system has no pseudo-terminals: the simulated input boxes need Linux or macOS."
    )
