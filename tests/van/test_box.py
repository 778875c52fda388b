"""Input lines: polls, bounce, flash rates, voltages."""

from __future__ import annotations

import numpy as np
import pytest

from busprobe.van.box import ANALOGUE, WIRES, Polls
from busprobe.van.generate import cycle
from busprobe.van.script import END_NS
from busprobe.van.steps import ns
from busprobe.van.world import world_of


def line(polls: Polls, name: str) -> np.ndarray:
    """0 or 1 of each poll, 1 where the wire is active."""
    number = next(k for k, w in enumerate(WIRES) if w.name == name)
    return (polls.mask >> np.uint64(number) & np.uint64(1)).astype(int) ^ int(WIRES[number].active_low)


def rises(polls: Polls, name: str) -> np.ndarray:
    level = line(polls, name)
    return polls.t_ns[1:][np.diff(level) == 1]


def volts(polls: Polls, name: str) -> np.ndarray:
    return polls.analogue[:, ANALOGUE.index(name)] / 1000


def between(polls: Polls, begin_s: float, end_s: float) -> slice:
    return slice(*np.searchsorted(polls.t_ns, [ns(begin_s), ns(end_s)]))


def test_polls_are_regular_and_go_on_while_the_bus_sleeps(good):
    gaps = np.diff(good.polls.t_ns)
    assert len(good.polls.t_ns) == END_NS // ns(0.01)
    assert gaps.min() > ns(0.0098)
    assert gaps.max() < ns(0.0102)
    assert good.polls.t_ns[-1] > good.frames.t_ns[-1] + ns(40)


@pytest.mark.parametrize("wire", ["rear_door_pin", "side_door_pin"])
def test_door_contacts_bounce(wire, good):
    """More changes than the door has; each burst is over before 50 ms."""
    level = line(good.polls, wire)
    seen = good.polls.t_ns[1:][np.diff(level) != 0]
    real = world_of(1).steps[wire.removesuffix("_pin")].t_ns[1:]
    assert len(seen) >= len(real) + 4
    since = seen - real[np.searchsorted(real, seen, side="right") - 1]
    assert since.min() >= 0
    assert ns(0.02) < since.max() < ns(0.06)


# Flashes a minute. KKK-A-1822E 3.8.2.2 (as found on passengermotorvehicles.emilspec.com, page 41);
# SAE J845 and J595, and FMVSS 108 S14.9.3, from memory.
FLASH_RATES = [
    ("beacon_left", "KKK-A-1822E 3.8.2.2", 75, 125),
    ("beacon_left", "SAE J845 / J595", 60, 240),
    ("beacon_right", "KKK-A-1822E 3.8.2.2", 75, 125),
    ("front_white", "SAE J845 / J595", 60, 240),
]


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("wire", "source", "least", "most"), FLASH_RATES)
def test_flash_rates(wire, source, least, most, seed):
    starts = rises(cycle(seed).polls, wire)
    gaps = np.diff(starts)
    # The front lamps flash twice in quick succession, which counts as one flash.
    firsts = starts[np.append(True, gaps > ns(0.2))]
    flashing = np.diff(firsts)
    rates = 60e9 / flashing[flashing < ns(1.5)]
    assert len(rates) > 200
    assert least <= np.median(rates) <= most
    assert (rates > least - 3).all()
    assert (rates < most).all()


def test_turn_signal_lamps_flash_at_a_usual_rate(good):
    """60 to 120 a minute: FMVSS 108 S14.9.3, SAE J590, UN R48 (from memory)."""
    starts = world_of(1).steps["lamp_left"].rises()
    gaps = np.diff(starts)
    rates = 60e9 / gaps[gaps < ns(2)]
    assert ((rates >= 60) & (rates <= 120)).all()


# When, volts at least, volts at most, and who says so.
VOLTAGES = [
    (0.0, 5.9, 12.5, 12.75, "rest, fully charged 12.6 V: two public tables of lead-acid rest voltage"),
    (14.5, 15.6, 9.6, 11.1, "cranking at least 9.6 V: battery load test of a car maker's handbook"),
    (20.0, 446.0, 13.0, 14.5, "charging 13 to 14.5 V: a machine manual; 13.8 to 14.4 V from memory"),
    (467.0, 489.0, 11.5, 11.8, "flat under load: 0 % is 11.6 V at rest in one public table"),
    (490.0, 491.0, 9.6, 11.1, "cranking at least 9.6 V: battery load test of a car maker's handbook"),
    (560.0, 600.0, 12.5, 12.75, "rest, fully charged 12.6 V"),
]


@pytest.mark.parametrize(("begin", "end", "least", "most", "source"), VOLTAGES)
def test_battery_voltage_is_that_of_a_lead_acid_battery(begin, end, least, most, source, good):
    seen = volts(good.polls, "battery")[between(good.polls, begin, end)]
    assert least - 0.02 <= seen.min()
    assert seen.max() <= most + 0.02


def test_the_short_sag_is_shorter_than_the_shedding_delay(good):
    low = volts(good.polls, "battery") < 11.8
    lengths = []
    run = 0
    for value in low:
        run, ended = (run + 1, 0) if value else (0, run)
        if ended > 50:
            lengths.append(ended * 0.01)
    assert [round(s) for s in lengths] == [1, 6, 25]


def test_feed_follows_key_and_battery(good):
    fed = volts(good.polls, "aux_feed_volts") > 6.0
    edges = good.polls.t_ns[1:][np.diff(fed.astype(int)) != 0] / 1e9
    assert edges == pytest.approx([12.5, 476.5, 494.6, 560.5], abs=1.0)


def test_siren_never_sounds_in_park(good):
    on = good.polls.t_ns[line(good.polls, "siren") == 1] / 1e9
    assert ((on > 43) & (on < 137) | (on > 247) & (on < 426)).all()


def test_lever_passing_reverse_does_not_blink_the_lamp(good):
    assert len(rises(good.polls, "rear_white")) == 3
