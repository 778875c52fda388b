"""What to do when whoever read the output has gone away, as in `busprobe ... | head`."""

from __future__ import annotations

import os
import sys


def forget_stdout() -> None:
    """Send what is still to come nowhere: Python flushes stdout once more at its end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
