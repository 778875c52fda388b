"""Lets the tests of this folder import `obd_bus`, the simulated bus of the tests of requests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "sources"))
