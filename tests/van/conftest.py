"""One drive cycle without faults, made once."""

from __future__ import annotations

import pytest

from busprobe.van.generate import Cycle, cycle


@pytest.fixture(scope="session")
def good() -> Cycle:
    return cycle(1)
