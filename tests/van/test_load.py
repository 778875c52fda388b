"""The load of the benchmarks, received by python-can and decoded by cantools."""

from __future__ import annotations

import itertools
import os

import can
import cantools
import pytest

from busprobe.bench.model import Bus
from busprobe.van import load

pytestmark = pytest.mark.skipif(os.name != "posix", reason="udp_multicast")

FRAMES = 200
"""Fewer than an ordinary receive buffer holds (about 250), as they are read only afterwards."""


def received(bus: can.BusABC, count: int) -> list[can.Message]:
    """That many frames, or those that came."""
    return list(itertools.islice(iter(lambda: bus.recv(5.0), None), count))


def test_load_arrives_whole_and_in_order_and_its_database_decodes_it(udp_bus, udp_port):
    sent = load.send(Bus("load", "udp_multicast", load.GROUP, options={"port": udp_port}), 2000, FRAMES / 2000, 100)
    frames = received(udp_bus, FRAMES)
    assert sent == len(frames) == FRAMES
    database = cantools.database.load_string(load.database_text(100), "dbc")
    assert len(database.messages) == 100
    values = [database.decode_message(f.arbitration_id, f.data, decode_choices=False) for f in frames]
    assert [v["Counter"] for v in values] == list(range(FRAMES))
    assert {f.arbitration_id for f in frames[:100]} == {m.frame_id for m in database.messages}
    assert [v["Round"] for v in values] == [n // 100 for n in range(FRAMES)]
    assert not any(f.is_extended_id or f.is_fd for f in frames)
    assert {f.dlc for f in frames} == {8}


def test_load_is_the_same_for_a_seed(udp_bus, udp_port):
    bus = Bus("load", "udp_multicast", load.GROUP, options={"port": udp_port})

    def drawn(seed: int) -> list[tuple[int, bytes]]:
        load.send(bus, 5000, 0.02, 50, seed)
        return [(f.arbitration_id, bytes(f.data)) for f in received(udp_bus, 100)]

    first = drawn(3)
    assert len(first) == 100
    assert drawn(3) == first
    assert drawn(4) != first


def test_dbc_is_written(tmp_path):
    file = tmp_path / "load.dbc"
    assert load.main(["--dbc", str(file), "--identifiers", "7"]) == 0
    assert len(cantools.database.load_file(file).messages) == 7
