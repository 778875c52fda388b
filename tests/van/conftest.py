"""One drive cycle without faults, made once; a multicast bus that no other test uses."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import can
import pytest

from busprobe.van.generate import Cycle, cycle
from busprobe.van.load import GROUP


@pytest.fixture(scope="session")
def good() -> Cycle:
    return cycle(1)


@pytest.fixture
def udp_port() -> int:
    """A free port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("", 0))
        port: int = probe.getsockname()[1]
        return port


@pytest.fixture
def udp_bus(udp_port: int) -> Iterator[can.BusABC]:
    """python-can's own end of the bus."""
    with can.Bus(interface="udp_multicast", channel=GROUP, port=udp_port, hop_limit=0) as bus:
        yield bus
