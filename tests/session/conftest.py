"""Lets the tests of this folder import its helpers, and `obd_bus` of the tests of requests."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "sources")]
