"""Planted faults: each where it is said to be, and nothing else changed."""

from __future__ import annotations

import numpy as np
import pytest

from busprobe.van import faults
from busprobe.van.box import WIRES
from busprobe.van.faults import ALL_FAULTS, CHECKS, Fault
from busprobe.van.generate import START_NS, cycle, planted
from busprobe.van.steps import ns

BIT = {w.name: k for k, w in enumerate(WIRES)}


def changed_polls(fault, good):
    """(wires that differ, first and last time at which they do)."""
    other = cycle(1, [fault])
    differ = other.polls.mask ^ good.polls.mask
    rows = np.flatnonzero(differ)
    wires = {name for name, k in BIT.items() if (differ >> np.uint64(k) & np.uint64(1)).any()}
    span = (other.polls.t_ns[rows[0]], other.polls.t_ns[rows[-1]]) if len(rows) else None
    assert np.array_equal(other.polls.analogue, good.polls.analogue)
    return wires, span, other


PLACES = {
    Fault.LATE_REAR_WHITE: ({"rear_white"}, 234.9, 235.7),
    Fault.SIREN_IN_PARK: ({"siren"}, 505.1, 506.2),
    Fault.CHATTERING_DOOR: ({"rear_door_pin", "door_alert"}, 374.9, 376.8),
    Fault.NEVER_YIELDS: ({"rear_warning"}, 89.8, 444.1),
}


@pytest.mark.parametrize("fault", PLACES, ids=lambda f: f.name)
def test_a_fault_changes_its_own_wires_in_its_own_place(fault, good):
    wires, begin_s, end_s = PLACES[fault]
    changed, span, other = changed_polls(fault, good)
    assert changed == wires
    assert ns(begin_s) <= span[0]
    assert span[1] <= ns(end_s)
    assert np.array_equal(other.frames.payload, good.frames.payload)
    assert np.array_equal(other.frames.t_ns, good.frames.t_ns)


def test_signal_lost(good):
    changed, _, other = changed_polls(Fault.SIGNAL_LOST, good)
    assert changed == set()
    gaps = np.diff(other.frames.stamps("TransmissionStatus"))
    assert (gaps > ns(0.1)).sum() == 1
    assert ns(3.0) <= gaps.max() < ns(3.03)
    lost = good.frames.carries("TransmissionStatus") & ~np.isin(good.frames.t_ns, other.frames.t_ns)
    assert len(other.frames.t_ns) == len(good.frames.t_ns) - lost.sum()
    assert lost.sum() == pytest.approx(150, abs=1)


def test_chatter_outlasts_ten_debounces_without_a_rest():
    other = cycle(1, [Fault.CHATTERING_DOOR])
    level = other.polls.mask >> np.uint64(BIT["rear_door_pin"]) & np.uint64(1)
    edges = other.polls.t_ns[1:][np.diff(level.astype(int)) != 0]
    burst = edges[(edges >= faults.CHATTER_AT_NS) & (edges < faults.CHATTER_AT_NS + ns(2))]
    assert burst[-1] - burst[0] > 3 * 10 * ns(0.04)
    assert np.diff(burst).max() < ns(0.04)


def test_the_late_lamp_is_late_once():
    table = planted(2, [Fault.LATE_REAR_WHITE])
    lines = cycle(2, [Fault.LATE_REAR_WHITE]).polls
    level = lines.mask >> np.uint64(BIT["rear_white"]) & np.uint64(1)
    lit = lines.t_ns[1:][np.diff(level.astype(int)) == 1]
    late = lit[np.searchsorted(lit, table[0].t_ns - START_NS)] - (table[0].t_ns - START_NS)
    assert ns(0.41) < late < ns(0.44)


def test_table_of_all_faults():
    table = planted(2, ALL_FAULTS)
    assert [p.t_ns for p in table] == sorted(p.t_ns for p in table)
    assert {p.fault: p.check_name for p in table} == CHECKS
    seconds = {p.fault: (p.t_ns - START_NS) / 1e9 for p in table}
    assert seconds == pytest.approx(
        {
            Fault.NEVER_YIELDS: 90.0,
            Fault.LATE_REAR_WHITE: 235.0,
            Fault.CHATTERING_DOOR: 375.0,
            Fault.SIGNAL_LOST: 431.6,
            Fault.SIREN_IN_PARK: 505.2,
        },
        abs=0.25,
    )


def test_nothing_planted():
    assert planted(1) == []
