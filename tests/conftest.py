"""What all tests share: how many run at a time, and signals that reach the programs that tests start."""

import os
import signal

import pytest

# A shell starts what runs in the background with Ctrl-C ignored, and children inherit that.
for _number in (signal.SIGINT, getattr(signal, "SIGHUP", None)):
    if _number is not None and signal.getsignal(_number) is signal.SIG_IGN:
        signal.signal(_number, signal.default_int_handler if _number is signal.SIGINT else signal.SIG_DFL)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """How many `-n auto` means: tests of live runs and terminals spend half of their time waiting."""
    return (os.cpu_count() or 1) * 3 // 2
