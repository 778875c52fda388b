"""Lets the tests of this folder import its helpers, and those of the tests of requests and of the engine."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "sources"), str(HERE.parent / "engine")]
