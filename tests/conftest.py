"""What all tests share: how many run at a time, how long they may take, signals for the programs that they start."""

import os
import signal

import pytest
from hypothesis import HealthCheck, settings

# A shell starts what runs in the background with Ctrl-C ignored, and children inherit that.
for _number in (signal.SIGINT, getattr(signal, "SIGHUP", None)):
    if _number is not None and signal.getsignal(_number) is signal.SIG_IGN:
        signal.signal(_number, signal.default_int_handler if _number is signal.SIGINT else signal.SIG_DFL)

# No example of a property is wrong because a busy machine took long over it.
settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """How many `-n auto` means: tests of live runs and terminals spend half of their time waiting."""
    return (os.cpu_count() or 1) * 3 // 2
