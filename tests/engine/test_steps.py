"""Values are shown with a fixed number of decimals: as many as their step needs."""

from __future__ import annotations

import dataclasses

import pytest

from busprobe.bench.model import SignalType
from busprobe.decode import pids
from busprobe.decode.layout import MessageLayout, SignalLayout
from busprobe.engine.signal_plan import MessageTap, ObdTap, SignalPlan, Source
from busprobe.engine.steps import decimals, decimals_of, number_text, quantity_decimals


@pytest.mark.parametrize(
    ("step", "offset", "places"),
    [
        pytest.param(1.0, 0.0, 0, id="whole"),
        pytest.param(100.0, 0.0, 0, id="hundreds"),
        pytest.param(0.1, 0.0, 1, id="tenths"),
        pytest.param(0.25, 0.0, 2, id="quarters need two"),
        pytest.param(0.125, 0.0, 3, id="eighths need three"),
        pytest.param(0.5, -40.0, 1, id="a whole offset adds none"),
        pytest.param(1.0, 0.5, 1, id="an offset of a half adds one"),
        pytest.param(1 / 256, 0.0, 3, id="J1939's speed: exact would be eight"),
        pytest.param(100 / 255, 0.0, 1, id="a percentage of a byte has no end"),
        pytest.param(0.5 * 1.609344, 0.0, 1, id="half miles an hour in km/h"),
        pytest.param(0.001, 0.0, 3, id="millivolts"),
        pytest.param(0.0, 0.0, 0, id="no step at all"),
        pytest.param(-0.1, 0.0, 1, id="a falling one"),
    ],
)
def test_decimals(step: float, offset: float, places: int) -> None:
    assert decimals(step, offset) == places


def of_steps(*steps: float, is_float: bool = False) -> SignalPlan:
    layout = SignalLayout("Value", 0, 16, False, False, is_float)
    message = MessageLayout("Message", 1, False, 8)
    taps = [MessageTap("body", message, dataclasses.replace(layout, scale=step)) for step in steps]
    return SignalPlan("value", tuple(Source(tap) for tap in taps), SignalType("V"))


def test_several_sources_have_the_decimals_of_the_finest() -> None:
    assert decimals_of(of_steps(1.0, 0.01)) == 2


def test_where_a_step_is_not_known_there_is_no_fixed_number() -> None:
    assert decimals_of(of_steps(1.0, is_float=True)) is None
    assert number_text(14.175, None) == "14.175"
    one = next(q for group in pids.QUANTITIES.values() for q in group if q.meaning is not None)
    assert quantity_decimals(one) is None
    assert decimals_of(SignalPlan("it", (Source(ObdTap("body", one.name)),), SignalType(None))) is None


def test_they_never_jump() -> None:
    """14.1, 14.13 and 14.175 V; no minus before a nought."""
    assert [number_text(v, 3) for v in (14.1, 14.13, 14.175, -0.0001)] == ["14.100", "14.130", "14.175", "0.000"]


def test_obd_quantities_have_those_of_their_formula() -> None:
    """SAE J1979: 42 is volts in thousandths, 0C quarters of a revolution, 05 whole degrees less 40."""
    found = {name: pids.find(name) for name in ("42", "0C", "05")}
    assert {name: quantity_decimals(q) for name, q in found.items() if q} == {"42": 3, "0C": 2, "05": 0}
