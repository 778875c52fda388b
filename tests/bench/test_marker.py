"""The marker line of a bench file becomes a signal and a trigger."""

import pytest

from busprobe.bench.load import loads
from busprobe.errors import BenchError

BENCH = """
[vehicle]
name = "v"
[record]
marker_line = "box.button"
[[inputs]]
name = "box"
driver = "modbus"
port = "p"
[[inputs.line]]
name = "button"
number = 1
[signals]
{signals}
"""


def test_a_button_of_its_own() -> None:
    bench = loads(BENCH.format(signals=""))
    assert [s.name for s in bench.signals] == ["marker_button"]
    assert [(t.name, t.on.text) for t in bench.triggers] == [("Marker", "rises(marker_button)")]
    assert bench.triggers[0].is_marker


def test_a_button_that_is_a_signal_already() -> None:
    bench = loads(BENCH.format(signals='hand = { from = "box.button" }'))
    assert [(t.name, t.on.text) for t in bench.triggers] == [("Marker", "rises(hand)")]


def test_no_such_line() -> None:
    with pytest.raises(BenchError) as error:
        loads(BENCH.format(signals="").replace("box.button", "box.buton"))
    assert str(error.value) == (
        'line 5, column 16: There is no input line "box.buton". Nearest known name: "box.button".'
    )


def test_the_name_is_taken() -> None:
    with pytest.raises(BenchError, match=r'line 15, column 1: The trigger "Marker" is what marker_line logs'):
        loads(BENCH.format(signals="") + '[[trigger]]\nname = "Marker"\non = "rises(marker_button)"\n')
