"""Polling of PIDs in a live run, over python-can's virtual bus."""

import re
import time

import pytest
from virtual_vehicle import Vehicle, polling_bench

from busprobe.decode.obd import Listener, Reading, Request
from busprobe.errors import DeviceError
from busprobe.frames import InputBatch
from busprobe.session.polling import Polling, start_polling
from busprobe.sources.bus import BusSource
from busprobe.sources.clock import Clock
from busprobe.van.control_units import ControlUnit


def values_of(records):
    return {record.name: record.value for record in records if isinstance(record, Reading)}


def test_readings_come_by_themselves(tmp_path):
    bench, clock = polling_bench(tmp_path.name), Clock()
    (bus,) = bench.buses
    source, listener, records = BusSource(bus), Listener(), []
    vehicle = Vehicle(tmp_path.name, ControlUnit(0x7E8, {0x0C: b"\x0c\x80", 0x42: b"\x31\x9c"}))
    polling = start_polling(bench, [source], clock, listen_ns=100_000_000)
    assert polling is not None
    source.open(clock)
    vehicle.start()
    try:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline and not (polling.health.requests >= 4 and values_of(records)):
            batch = source.read()
            records += listener.feed(batch)
            polling.observe(batch)
    finally:
        source.close()
        vehicle.stop()
    assert values_of(records) == {"0C": 800.0, "42": 12.7}
    requests = [record for record in records if isinstance(record, Request)]
    assert {(request.service, request.pids, request.was_sent) for request in requests} == {(1, (0x0C, 0x42), True)}
    (note,) = polling.notes()
    assert re.match(r"\d+ OBD requests sent on body: every 200 ms, [\d.]+ m?s achieved", note)


def test_a_listen_only_bus_is_refused():
    bench = polling_bench("nowhere", listen_only="true")
    with pytest.raises(DeviceError, match='The bus "body" is listen-only'):
        start_polling(bench, [BusSource(bench.buses[0])], Clock())


def test_nothing_to_poll():
    bench = polling_bench("nowhere", poll="")
    assert start_polling(bench, [BusSource(bench.buses[0])], Clock()) is None


def test_other_batches_are_no_frames_of_the_bus():
    import numpy as np

    bench = polling_bench("nowhere")
    polling = start_polling(bench, [BusSource(bench.buses[0])], Clock())
    assert isinstance(polling, Polling)
    polling.observe(InputBatch("box", np.empty(0, np.int64), np.empty(0, np.uint64)))
    assert polling.notes() == [
        'No OBD request was sent. The bus "body" is listened to for 5 s before anything is asked.'
    ]
