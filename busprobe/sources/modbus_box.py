"""Input boxes that speak Modbus RTU: discrete inputs, coils and input registers.

    request   01 02 0000 0008 crc crc       unit, function, first address, count
    answer    01 02 01 05 crc crc           unit, function, bytes, lines 7 to 0

MODBUS Application Protocol Specification V1.1b3, functions 01, 02 and 04.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from busprobe.bench.model import InputBox
from busprobe.errors import counted
from busprobe.sources.box_options import MOST_ON_OFF, SERIAL_KEYS, BoxOptions, SerialSettings
from busprobe.sources.clock import Clock
from busprobe.sources.polled_box import LATE_ANSWER, Fault, Poll, PolledBox
from busprobe.sources.serial_port import OpenPort, gone, open_port
from busprobe.sources.wire_time import MS_NS, Exchange, exchange_ns, refuse_short_period, short_ms

if TYPE_CHECKING:
    from pymodbus.pdu import ModbusPDU

    from busprobe.sources.modbus_client import TimedClient

OPTIONS = (*SERIAL_KEYS, "unit", "table", "first", "first_register", "scale", "signed", "timeout")
TABLES = ("discrete", "coils", "registers")
MOST_REGISTERS = 125
"""Registers of one request."""
TURNAROUND_NS = 35 * MS_NS
"""Time-out besides the time on the wire; boxes take 1 to 20 ms (common practice, no source)."""
LONGEST = 256
"""Characters of the longest answer there is (MODBUS over Serial Line V1.02, section 2.5.1; from memory)."""
REQUEST = 8
"""Characters of a request; an answer has 5 besides its data."""
EXCEPTIONS = {
    1: ("illegal function", 'The box has no such table: change "table".'),
    2: ("illegal data address", 'Compare "table", "first" and "first_register" with its manual; addresses start at 0.'),
    3: ("illegal data value", "It gives fewer lines at once: use fewer, or lower numbers."),
    4: ("device failure", "Switch the box off and on."),
    6: ("device busy", 'Make "period" longer.'),
}
"""What it says by code (section 7 of the specification), and what to do."""


@dataclass(frozen=True)
class ModbusSettings:
    """How a box is asked."""

    serial: SerialSettings
    unit: int
    table: str
    """Where the on/off lines are; "registers": bits of input registers."""
    first: int
    """Address of on/off line 0, from 0."""
    first_register: int
    """Address of analogue line 0, from 0."""
    scale: float
    """Millivolts of one count."""
    signed: bool
    timeout_ns: int
    asking_ns: int
    """What its slowest question and answer take on the wire."""
    on_off: int
    """How many on/off lines are read."""
    analogue: int

    @property
    def words(self) -> int:
        """Registers that hold the on/off lines."""
        return -(-self.on_off // 16)


def modbus_box(box: InputBox, opener: OpenPort = open_port) -> PolledBox:
    """A box with the driver "modbus". Raises BenchError for its options and for a period that the line cannot reach."""
    settings = read_settings(box)
    return PolledBox(
        box, ModbusPoller(box.name, settings, opener), analogue=settings.analogue, half_ns=settings.asking_ns // 2
    )


def read_settings(box: InputBox) -> ModbusSettings:
    options = BoxOptions(box, OPTIONS)
    on_off, analogue = options.counts(on_off=MOST_ON_OFF, analogue=MOST_REGISTERS)
    if not on_off and not analogue:
        raise options.error(f'The input box "{box.name}" has no lines to read.', "Add one [[inputs.line]] a wire.")
    # A box that is set to one stop bit understands two, and the other way round.
    serial = options.serial(baudrate=115_200, stopbits=2)
    table = options.choice("table", "discrete", TABLES)
    exchanges = _exchanges(table, on_off, analogue)
    refuse_short_period(box, exchanges, serial)
    slowest = max(exchange_ns(exchange, serial) for exchange in exchanges)
    return ModbusSettings(
        serial=serial,
        unit=options.whole("unit", 1, least=1, most=247),
        table=table,
        first=options.whole("first", 0, least=0, most=65_535),
        first_register=options.whole("first_register", 0, least=0, most=65_535),
        scale=options.number("scale", 1.0, most=1000),
        signed=options.flag("signed"),
        timeout_ns=options.duration("timeout", slowest + TURNAROUND_NS),
        asking_ns=slowest,
        on_off=on_off,
        analogue=analogue,
    )


def _exchanges(table: str, on_off: int, analogue: int) -> list[Exchange]:
    """What one poll asks for."""
    exchanges = []
    if on_off:
        data = 2 * -(-on_off // 16) if table == "registers" else -(-on_off // 8)
        exchanges.append(Exchange(counted(on_off, "coil" if table == "coils" else "input"), REQUEST, 5 + data))
    if analogue:
        exchanges.append(Exchange(counted(analogue, "register"), REQUEST, 5 + 2 * analogue))
    return exchanges


class ModbusPoller:
    """Asks one box for all its lines, in one request or two."""

    def __init__(self, box: str, settings: ModbusSettings, opener: OpenPort) -> None:
        self._box = box
        self._settings = settings
        self._open_port = opener
        self._client: TimedClient | None = None
        self._may_answer_late = False

    def connect(self) -> None:
        from busprobe.sources.modbus_client import TimedClient

        timeout_s = self._settings.timeout_ns / 1e9
        port = self._open_port(self._box, self._settings.serial, timeout_s)
        self._client = TimedClient(port, self._settings.serial, timeout_s)
        self._may_answer_late = False

    def disconnect(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.close()

    def poll(self, clock: Clock) -> Poll | Fault:
        from pymodbus.exceptions import ConnectionException, ModbusException

        assert self._client is not None
        self._client.clock = clock
        try:
            if self._may_answer_late and (fault := self._late_answer(self._client)):
                return fault
            return self._ask(self._client)
        except (ConnectionException, OSError) as error:
            raise gone(self._box, self._settings.serial.port) from error
        except ModbusException:
            return self._no_answer(self._client)

    def _ask(self, client: TimedClient) -> Poll | Fault:
        mask, request_ns = 0, None
        volts: tuple[int, ...] = ()
        settings = self._settings
        if settings.on_off:
            answer = self._on_off(client)
            request_ns = client.sent_ns
            values = answer.registers if settings.table == "registers" else answer.bits
            wanted = settings.words if settings.table == "registers" else settings.on_off
            if fault := self._wrong(answer, len(values), wanted):
                return fault
            width = 16 if settings.table == "registers" else 1
            mask = sum(int(value) << width * k for k, value in enumerate(values))
            mask &= (1 << settings.on_off) - 1
        if settings.analogue:
            answer = client.read_input_registers(
                settings.first_register, count=settings.analogue, device_id=settings.unit
            )
            request_ns = client.sent_ns if request_ns is None else request_ns
            if fault := self._wrong(answer, len(answer.registers), settings.analogue):
                return fault
            volts = tuple(self._millivolts(count) for count in answer.registers)
        assert request_ns is not None
        return Poll(request_ns, client.received_ns, mask, volts)

    def _on_off(self, client: TimedClient) -> ModbusPDU:
        first, count, unit = self._settings.first, self._settings.on_off, self._settings.unit
        match self._settings.table:
            case "discrete":
                return client.read_discrete_inputs(first, count=count, device_id=unit)
            case "coils":
                return client.read_coils(first, count=count, device_id=unit)
            case _:
                return client.read_input_registers(first, count=self._settings.words, device_id=unit)

    def _millivolts(self, count: int) -> int:
        if self._settings.signed and count >= 1 << 15:
            count -= 1 << 16
        return round(count * self._settings.scale)

    def _late_answer(self, client: TimedClient) -> Fault | None:
        """What comes after all of a request that timed out: it must not pass for the next one's answer."""
        client.received = 0
        # It begins within another time-out or not at all, and a time-out of silence is behind it.
        until = time.monotonic() + (2 * self._settings.timeout_ns + self._settings.asking_ns) / 1e9
        while client.recv(None):
            if client.received > LONGEST or time.monotonic() > until:
                return self._fault(
                    "answer that was talked over",
                    "is talked over: the line does not fall silent, so that nothing can be asked.",
                    "Something else talks on the pair: take it off, or give the box a port of its own.",
                )
        self._may_answer_late = False
        if client.received:
            return self._fault(
                LATE_ANSWER, f"answers later than its time-out of {self._timeout}.", 'Make "timeout" longer.'
            )
        return None

    def _wrong(self, answer: ModbusPDU, given: int, wanted: int) -> Fault | None:
        """What is wrong with an answer, if anything."""
        if answer.isError():
            name, hint = EXCEPTIONS.get(answer.exception_code, ("see its manual", "Look the code up in its manual."))
            told = f"answers with Modbus exception {answer.exception_code} ({name})."
            return self._fault("Modbus exception", told, hint)
        if given < wanted:
            told = f"gives {given} of {counted(wanted, 'value')}."
            return self._fault("short answer", told, 'Compare "table" and "first" with its manual.')
        return None

    def _no_answer(self, client: TimedClient) -> Fault:
        if client.received:
            hint = 'Compare "baudrate" and "parity" with the box; look at the wire pair and its termination.'
            return self._fault("damaged answer", f"gives a damaged answer ({counted(client.received, 'byte')}).", hint)
        self._may_answer_late = True
        hint = (
            f"Asked for unit {self._settings.unit} at {self._settings.serial}: compare with the box; then its supply."
        )
        return self._fault("time-out", f"does not answer within {self._timeout}.", hint)

    @property
    def _timeout(self) -> str:
        return short_ms(self._settings.timeout_ns)

    def _fault(self, kind: str, text: str, hint: str) -> Fault:
        return Fault(kind, f'The input box "{self._box}" on "{self._settings.serial.port}" {text}', hint)
