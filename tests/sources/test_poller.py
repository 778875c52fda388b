"""Polling on a grid, with pauses for another tester."""

from itertools import pairwise

import pytest
from obd_bus import MS, ObdBus, requests_sent

from busprobe.sources.poller import Poller
from busprobe.van.control_units import Conduct, ControlUnit

PIDS = (0x04, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x11, 0x42)
DATA = {pid: b"\x10" if pid not in (0x0C, 0x42) else b"\x10\x10" for pid in PIDS}


def run(bus, poller, requester, until_ms):
    found = []
    while bus.ms < until_ms:
        requester.feed(bus.advance())
        exchange = poller.step(bus.now_ns)
        if exchange is not None:
            found.append(exchange)
    return found


def starts(bus, request):
    return [ms for ms, _, data in bus.sent if data[1 : 1 + data[0]].hex(" ").upper() == request]


def polled(*units, pids=PIDS, every_ms=500, wakes=False, **more):
    bus = ObdBus(*units, **more)
    requester = bus.requester(wakes=wakes)
    return bus, requester, Poller(requester, pids, every_ms * MS)


def test_rounds_keep_to_their_grid():
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA))
    found = run(bus, poller, requester, 5000)
    assert requests_sent(bus)[:2] == [("7DF", "01 04 05 0B 0C 0D 0F"), ("7DF", "01 11 42")]
    first = starts(bus, "01 04 05 0B 0C 0D 0F")
    assert first == [20 + 500 * number for number in range(10)]
    assert all(exchange.answers for exchange in found)
    assert (poller.health.requests, poller.health.unanswered, poller.health.paused) == (len(found), 0, "")
    assert poller.health.period_ns == 500 * MS


def test_units_that_answered_are_awaited_and_no_longer():
    """Three requests in 300 ms, the most that a bench file may ask for: no 0.2 s of waiting each."""
    pids = [*PIDS, *range(0x45, 0x4D)]
    unit = ControlUnit(0x7E8, DATA | dict.fromkeys(pids[8:], b"\x10"))
    bus, requester, poller = polled(unit, pids=pids, every_ms=300)
    run(bus, poller, requester, 6000)
    assert len(starts(bus, "01 04 05 0B 0C 0D 0F")) >= 18


def test_rounds_that_cannot_be_kept_are_left_out():
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA, conduct=Conduct(patience={1: 700 * MS})))
    run(bus, poller, requester, 10_000)
    times = starts(bus, "01 04 05 0B 0C 0D 0F")
    assert len(times) >= 5
    assert all(1400 <= later - earlier <= 1800 for earlier, later in pairwise(times))
    assert 1400 * MS <= poller.health.period_ns <= 1800 * MS


def test_a_silent_vehicle_is_counted():
    bus, requester, poller = polled()
    run(bus, poller, requester, 4000)
    assert poller.health.unanswered == poller.health.requests > 3


def test_half_answers_are_counted():
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA, conduct=Conduct(breaks_off=frozenset({1}))))
    run(bus, poller, requester, 4000)
    assert poller.health.incomplete > 0


def test_pauses_while_another_tester_asks():
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA))
    for ms in range(2010, 4000, 250):
        bus.others(ms, 0x7DF, "02 01 0D")
    run(bus, poller, requester, 2500)
    before = len(bus.sent)
    assert before > 4
    run(bus, poller, requester, 8700)
    assert len(bus.sent) == before
    assert poller.health.paused.startswith('Another tester asks on the bus "body"')
    run(bus, poller, requester, 10_000)
    assert len(bus.sent) > before
    assert poller.health.paused == ""
    assert poller.health.period_ns == 500 * MS, "the pause is no slow round"


@pytest.mark.parametrize("echoes", [False, True])
def test_a_bus_that_falls_asleep_is_not_kept_awake(echoes):
    """The traffic ends at 3 s and begins again at 20 s; the units would answer all the time."""
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA), echoes=echoes)
    for ms in (*range(0, 3000, 100), *range(20_000, 22_000, 100)):
        bus.others(ms, 0x123, "01 02")
    run(bus, poller, requester, 20_000)
    assert 4300 <= max(ms for ms, _, _ in bus.sent) <= 4900
    assert poller.health.paused == (
        'The bus "body" is asleep: nothing is asked, so as not to keep it awake, until it wakes up.'
    )
    run(bus, poller, requester, 22_000)
    assert starts(bus, "01 04 05 0B 0C 0D 0F")[-1] >= 21_500
    assert (poller.health.paused, poller.health.unanswered) == ("", 0)


@pytest.mark.parametrize(("wakes", "carries"), [(True, True), (False, False)])
def test_a_bus_is_asked_that_is_silent_by_nature_or_that_is_to_be_woken(wakes, carries):
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA), wakes=wakes)
    if carries:
        bus.others(10, 0x123, "01 02")
    run(bus, poller, requester, 6000)
    assert starts(bus, "01 04 05 0B 0C 0D 0F")[-1] >= 5500


def test_a_bus_that_is_gone_and_back():
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA))
    run(bus, poller, requester, 1000)
    bus.is_gone = True
    run(bus, poller, requester, 2000)
    assert poller.health.paused == 'The adapter of the bus "body" is gone.'
    bus.is_gone = False
    run(bus, poller, requester, 3000)
    assert poller.health.paused == ""


@pytest.mark.parametrize("step_ms", [10, 50, 100])
def test_at_most_ten_a_second_however_often_it_is_called(step_ms):
    bus, requester, poller = polled(ControlUnit(0x7E8, DATA), every_ms=100, step_ms=step_ms)
    run(bus, poller, requester, 5000)
    times = [ms for ms, identifier, _ in bus.sent if identifier == 0x7DF]
    assert all(later - earlier >= 1000 for earlier, later in zip(times, times[10:], strict=False))
