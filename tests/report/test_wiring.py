"""The wiring note of a bench file."""

from pathlib import Path

import pytest

from busprobe.bench.hardware import DRIVERS
from busprobe.bench.load import loads
from busprobe.bench.model import Line
from busprobe.report.cautions import caution_lines
from busprobe.report.wiring import expected, wiring_lines
from busprobe.report.wiring_notes import BY_DRIVER, divided_v, led_ma

BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
[[inputs]]
name = "box"
driver = "modbus"
port = "/dev/ttyUSB1"
[[inputs.line]]
name = "aux_feed_volts"
number = 1
analogue = true
above = "9 V"
below_again = "6.5 V"
[[inputs.line]]
name = "rear_door_pin"
number = 3
active = "low"
wiring = "brown/white, rear door jamb"
[[inputs.line]]
name = "spare"
number = 0
[[inputs]]
name = "adapter"
driver = "modem-lines"
port = "COM3"
period = "2 ms"
[[inputs.line]]
name = "ignition_sense"
number = 2
wiring = "switched feed, fuse 22"
[signals]
rear_door = { from = "box.rear_door_pin", role = "door" }
ignition = { from = ["adapter.ignition_sense", "box.spare"] }
aux_feed = { from = "box.aux_feed_volts" }
"""


def note(text: str = BENCH) -> list[str]:
    return wiring_lines(loads(text, Path("van.toml")))


def test_each_input_with_wire_signal_and_range() -> None:
    lines = note()
    assert lines[0] == "Wiring for Roads patrol van 12"
    start = lines.index('Input box "box": modbus on "/dev/ttyUSB1", every 10 ms')
    assert lines[start + 1 : start + 8] == [
        "======================================================",
        "",
        "input       line            wire                         signal     expected",
        "----------  --------------  ---------------------------  ---------  ----------------------------------",
        "input 0     spare           -                            ignition   box input high when on; wire * on:",
        "                                                                    9 to 16 V, off: below 1 V",
        "input 3     rear_door_pin   brown/white, rear door jamb  rear_door  box input low when on; wire * on:",
    ]
    assert lines[start + 9] == (
        "analogue 1  aux_feed_volts  -                            aux_feed   0 to 16 V; on above 9 V, off below"
    )
    start = lines.index('Input box "adapter": modem-lines on "COM3", every 2 ms')
    assert lines[start + 5].startswith(
        "DCD (2)  ignition_sense  switched feed, fuse 22  ignition  box input high when on; wire * on:"
    )


@pytest.mark.parametrize(
    ("line", "text"),
    [
        (Line("x", 0), "box input high when on; wire * on: 9 to 16 V, off: below 1 V"),
        (Line("x", 0, active_low=True), "box input low when on; wire * on: below 1 V, off: 9 to 16 V"),
        (Line("x", 0, analogue=True), "0 to 16 V, measured"),
        (Line("x", 0, analogue=True, above_mv=850), "0 to 16 V; on above 0.85 V, off below 0.85 V"),
    ],
)
def test_expected_range(line: Line, text: str) -> None:
    assert expected(line) == text


def test_table_and_advice_agree_on_what_inverts() -> None:
    """A lit LED pulls the pin low: battery on the wire is a low input (common practice, no source)."""
    lines = note(BENCH.replace('driver = "modem-lines"\nport = "COM3"\nperiod = "2 ms"', 'driver = "text-lines"'))
    assert sum(line.startswith("* Where the wire goes to the input directly") for line in lines) == 2
    text = " ".join(" ".join(lines).split())
    assert '"box input low when on" then goes with 12 V on the wire when on.' in text
    assert 'active = "low" for a wire that switches battery. The meter on that wire then shows the opposite' in text
    assert 'leave active = "low" out for them. The meter on such a wire then shows the opposite' in text
    assert "or its opposite where something inverts (*). Do not connect a wire that reads neither." in text


def test_voltages_alone_have_no_note_on_inversion() -> None:
    lines = note(BENCH.split('[[inputs.line]]\nname = "rear_door_pin"', maxsplit=1)[0])
    assert not any(line.startswith("*") for line in lines)


def test_the_usual_cautions_come_first() -> None:
    lines = note()
    assert lines[2 : 2 + len(caution_lines())] == caution_lines()


def test_fuse_ground_isolation_and_resistors_are_named() -> None:
    text = " ".join(" ".join(note()).split())
    for wanted in ("Fuse of 1 A or less", "Common ground", "opto-isolated", "kΩ in series", "divider", "12 V means"):
        assert wanted in text


def test_every_live_driver_has_notes() -> None:
    assert {*BY_DRIVER, "recorded"} == set(DRIVERS)


def test_no_box() -> None:
    lines = note('[vehicle]\nname = "Roads patrol van 12"\n')
    assert lines[-1] == "The bench file has no input box: nothing is to be wired."


def test_no_line_of_a_box() -> None:
    lines = note('[vehicle]\nname = "x"\n[[inputs]]\nname = "box"\ndriver = "recorded"\n')
    assert "No line of it is in the bench file." in lines


def test_lines_fit_a_terminal() -> None:
    assert max(map(len, note())) <= 110


# Ohm's law: current is the same in both resistors of a divider.
@pytest.mark.parametrize(
    ("volts", "upper", "lower"), [(12, 22, 10), (16, 22, 10), (16, 33, 10), (12, 1, 3), (12, 1, 7)]
)
def test_divider(volts: float, upper: float, lower: float) -> None:
    tap = divided_v(volts, upper, lower)
    assert (volts - tap) / upper == pytest.approx(tap / lower)


def test_what_reaches_the_pins() -> None:
    """A 5 V pin at 16 V; an RS-232 input at 12 V, which has to be above 3 V (TIA-232-F, from memory)."""
    assert divided_v(16, 22, 10) <= 5.0
    assert divided_v(12, 1, 3) > 3.0
    assert 3 < led_ma(12, 2.2) < led_ma(24, 2.2) < 15
    assert (24 - 1.2) ** 2 / 2200 < 0.5
