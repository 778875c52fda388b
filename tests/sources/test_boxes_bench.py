"""What a bench file may say of an input box, and which periods a line can reach."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from boxed import box

from busprobe.bench.hardware import DRIVERS
from busprobe.bench.load import loads
from busprobe.bench.model import InputBox, Line
from busprobe.errors import BenchError
from busprobe.sources.box_options import SerialSettings
from busprobe.sources.boxes import BOXES, open_box
from busprobe.sources.pace import Pace, is_bounce_measurable, pace_notes
from busprobe.sources.wire_time import Exchange, exchange_ns, gap_ns

MS = 1_000_000


def test_every_driver_of_the_bench_file_has_a_source() -> None:
    assert {*BOXES, "recorded"} == set(DRIVERS)


@pytest.mark.parametrize("driver", BOXES)
def test_a_source_has_the_name_of_its_box(driver: str) -> None:
    assert open_box(box(driver, "COM3", on_off=4)).name == "box"


def refused(described: InputBox) -> tuple[str, str]:
    with pytest.raises(BenchError) as caught:
        open_box(described)
    return caught.value.message, caught.value.hint or ""


def test_a_box_of_recordings_is_no_live_source() -> None:
    assert refused(box("recorded", None)) == (
        'The driver "recorded" of the input box "box" reads no live lines.',
        'For live work use the driver "modbus" or "modem-lines" or "text-lines".',
    )


@pytest.mark.parametrize(
    ("driver", "key", "near", "known"),
    [
        ("modbus", "baudrat", ' Nearest known name: "baudrate".', '"baudrate", "parity", "stopbits", "unit", "table"'),
        ("modem-lines", "unit", "", '"levels", "latency".'),
        ("text-lines", "time_out", ' Nearest known name: "timeout".', '"baudrate", "parity", "stopbits", "timeout".'),
    ],
)
def test_an_unknown_option(driver: str, key: str, near: str, known: str) -> None:
    message, hint = refused(box(driver, "COM3", on_off=4, **{key: 1}))
    assert message == f'Unknown option "{key}" of the input box "box".{near}'
    assert hint.startswith(f'Options of the driver "{driver}": {known}')


@pytest.mark.parametrize(
    ("driver", "key", "value", "wanted"),
    [
        ("modbus", "baudrate", "9600", "a whole number from 300 to 4000000"),
        ("modbus", "baudrate", 0, "a whole number from 300 to 4000000"),
        ("modbus", "parity", "even", '"N" or "E" or "O"'),
        ("text-lines", "stopbits", 3, "a whole number from 1 to 2"),
        ("modbus", "unit", 248, "a whole number from 1 to 247"),
        ("modbus", "unit", 1.5, "a whole number from 1 to 247"),
        ("modbus", "table", "inputs", '"discrete" or "coils" or "registers"'),
        ("modbus", "first", -1, "a whole number from 0 to 65535"),
        ("modbus", "first_register", 65_536, "a whole number from 0 to 65535"),
        ("modbus", "scale", 0, "a number above 0, at most 1000"),
        ("modbus", "signed", "yes", "true or false"),
        ("modbus", "timeout", 50, 'a duration in quotes, such as "300 ms"'),
        ("modem-lines", "levels", "5V", '"rs232" or "ttl"'),
        ("modem-lines", "latency", "16", 'a duration in quotes, such as "300 ms"'),
    ],
)
def test_an_option_that_does_not_fit(driver: str, key: str, value: object, wanted: str) -> None:
    message, _ = refused(box(driver, "COM3", on_off=4, **{key: value}))
    found = f'"{value}"' if isinstance(value, str) else value
    assert message == f'The option "{key}" of the input box "box" must be {wanted}; found {found}.'


def test_true_is_no_number() -> None:
    message, _ = refused(box("modbus", "COM3", unit=True))
    assert message == 'The option "unit" of the input box "box" must be a whole number from 1 to 247; found true.'


@pytest.mark.parametrize("driver", BOXES)
def test_no_port(driver: str) -> None:
    assert refused(box(driver, None, on_off=4)) == (
        'The input box "box" has no "port".',
        'Add one, such as port = "COM3".',
    )


@pytest.mark.parametrize(
    ("driver", "number", "analogue", "there"),
    [
        ("modbus", 64, False, "numbers them 0 to 63"),
        ("modbus", 125, True, "numbers them 0 to 124"),
        ("modem-lines", 4, False, "numbers them 0 to 3"),
        ("modem-lines", 0, True, "has none"),
        ("text-lines", 64, False, "numbers them 0 to 63"),
        ("text-lines", 32, True, "numbers them 0 to 31"),
    ],
)
def test_a_number_that_the_driver_does_not_have(driver: str, number: int, analogue: bool, there: str) -> None:
    message, _ = refused(InputBox("box", driver, "COM3", lines=(Line("siren", number, analogue=analogue),)))
    kind = "analogue" if analogue else "on/off"
    assert message == (
        f'The {kind} line "siren" of the input box "box" has the number "{number}": the driver "{driver}" {there}.'
    )


def test_a_modbus_box_without_lines() -> None:
    assert refused(box("modbus", "COM3", on_off=0))[0] == 'The input box "box" has no lines to read.'


def test_errors_have_their_place_in_the_bench_file() -> None:
    text = """\
[vehicle]
name = "Roads patrol van 12"
[[inputs]]
name = "box"
driver = "modbus"
port = "COM3"
baudrate = 9600
[[inputs.line]]
name = "rear_door_pin"
number = 7
"""
    [described] = loads(text, Path("bench.toml")).boxes
    with pytest.raises(BenchError) as caught:
        open_box(described)
    assert str(caught.value) == (
        'bench.toml, line 3, column 1: The input box "box" cannot be read every 10 ms: '
        "8 inputs take 24.1 ms at 9600 baud, time in the box apart.\n"
        "(8 inputs: 8 + 6 characters of 11 bits are 16 ms, two gaps of 3.5 characters are 8.02 ms.) "
        'Make "period" at least "25 ms", or "baudrate" higher where the box can.'
    )


# MODBUS over Serial Line V1.02, section 2.5.1.1: 3.5 characters, above 19200 baud 1.75 ms (from memory);
# a character has 11 bits in RTU mode (section 2.5.1).
@pytest.mark.parametrize(
    ("baudrate", "gap", "total"),
    [(9600, 4.010, 24.063), (19_200, 2.005, 12.031), (38_400, 1.75, 7.510), (115_200, 1.75, 4.837)],
)
def test_time_of_eight_inputs_on_the_wire(baudrate: int, gap: float, total: float) -> None:
    for settings in (SerialSettings("COM3", baudrate, "E", 1), SerialSettings("COM3", baudrate, "N", 2)):
        assert gap_ns(settings) / 1e6 == pytest.approx(gap, abs=0.001)
        assert exchange_ns(Exchange("8 inputs", 8, 6), settings) / 1e6 == pytest.approx(total, abs=0.001)


@pytest.mark.parametrize(
    ("options", "on_off", "analogue", "least"),
    [
        ({"baudrate": 9600}, 8, 0, 25),
        ({"baudrate": 9600, "stopbits": 1}, 8, 0, 22),
        ({"baudrate": 19_200}, 8, 0, 13),
        ({}, 8, 0, 5),
        ({}, 14, 2, 11),
        ({}, 0, 8, 7),
        ({"table": "registers"}, 32, 0, 6),
    ],
)
def test_least_period_of_modbus(options: dict[str, object], on_off: int, analogue: int, least: int) -> None:
    described = box("modbus", "COM3", on_off=on_off, analogue=analogue, ms=least, **options)
    open_box(described)
    _, hint = refused(box("modbus", "COM3", on_off=on_off, analogue=analogue, ms=least - 1, **options))
    assert f'Make "period" at least "{least} ms"' in hint


def test_both_requests_of_a_poll_count() -> None:
    message, hint = refused(box("modbus", "COM3", on_off=14, analogue=2))
    assert message == (
        'The input box "box" cannot be read every 10 ms: 14 inputs and 2 registers take 10.1 ms at 115200 baud, '
        "time in the box apart."
    )
    assert hint == (
        "(14 inputs: 8 + 7 characters of 11 bits are 1.43 ms, two gaps of 1.75 ms are 3.5 ms; "
        "2 registers: 8 + 9 characters of 11 bits are 1.62 ms, two gaps of 1.75 ms are 3.5 ms.) "
        'Make "period" at least "11 ms", or "baudrate" higher where the box can.'
    )


def test_a_higher_baud_rate_is_not_advised_where_the_gaps_alone_take_too_long() -> None:
    assert refused(box("modbus", "COM3", ms=3))[1].endswith(' Make "period" at least "5 ms".')


def test_a_text_line_longer_than_its_period() -> None:
    assert refused(box("text-lines", "COM3", on_off=14, analogue=2, baudrate=9600)) == (
        'The input box "box" cannot be read every 10 ms: a line takes 44.8 ms at 9600 baud.',
        (
            '(43 characters of 10 bits are 44.8 ms.) Make "period" at least "45 ms", or "baudrate" higher where the '
            "box can."
        ),
    )
    open_box(box("text-lines", "COM3", on_off=14, analogue=2, ms=4))


def test_modem_lines_are_read_once_a_millisecond_at_most() -> None:
    assert refused(box("modem-lines", "COM3", on_off=4, ms=0.5)) == (
        'The input box "box" cannot be read more often than every 1 ms.',
        'Make "period" at least "1 ms".',
    )


# Achieved period.


def test_the_achieved_period_is_the_median_of_the_newest() -> None:
    pace = Pace()
    assert pace.period_ns is None
    pace.add([0])
    assert pace.period_ns is None
    pace.add([10, 20, 30, 500, 510])
    assert pace.period_ns == 10
    pace.add(range(1000, 1000 + 101 * 7, 7))
    assert pace.period_ns == 7


@pytest.mark.parametrize(
    ("period_ms", "is_seen"), [(0.5, True), (2, True), (2.09, True), (2.11, False), (2.5, False), (10, False)]
)
def test_bounce_is_seen_from_a_poll_every_2_ms_on(period_ms: float, is_seen: bool) -> None:
    """An achieved 2 ms wobbles a little around it."""
    assert is_bounce_measurable(round(period_ms * MS)) is is_seen


@pytest.mark.parametrize(
    ("asked_ms", "achieved_ms", "debounce_ms", "notes"),
    [
        (1, 1, (2,), []),
        (2, 2, (4,), []),
        (
            10, 10, (20,),
            ['Bounce is not measurable on the input box "box": it is read every 10 ms, slower than every 2 ms.'],
        ),
        (
            20, 20.08, (40,),
            ['Bounce is not measurable on the input box "box": it is read every 20.1 ms, slower than every 2 ms.'],
        ),
        (
            20, 21.2, (40,),
            [
                'Bounce is not measurable on the input box "box": it is read every 21.2 ms, slower than every 2 ms.',
                (
                    'The debounce of "line0", 40 ms, is below twice the achieved period of the input box "box": '
                    "2 × 21.2 ms = 42.4 ms."
                ),
            ],
        ),
        (
            10, 14.2, (0, 20, 28.4),
            [
                'The input box "box" is read every 14.2 ms, not every 10 ms as the bench file says.',
                'Bounce is not measurable on the input box "box": it is read every 14.2 ms, slower than every 2 ms.',
                (
                    'The debounce of "line1", 20 ms, is below twice the achieved period of the input box "box": '
                    "2 × 14.2 ms = 28.4 ms."
                ),
            ],
        ),
    ],
)  # fmt: skip
def test_what_the_achieved_period_means(
    asked_ms: float, achieved_ms: float, debounce_ms: Sequence[float], notes: list[str]
) -> None:
    lines = tuple(Line(f"line{k}", k, debounce_ns=round(ms * MS)) for k, ms in enumerate(debounce_ms))
    described = InputBox("box", "text-lines", "COM3", round(asked_ms * MS), lines)
    assert pace_notes(described, round(achieved_ms * MS)) == notes


def test_one_input_takes_its_time() -> None:
    with pytest.raises(BenchError, match=r": 1 input takes .* at 115200 baud"):
        open_box(box("modbus", "COM3", on_off=1, ms=1))
