"""Lets the tests of this folder import `contract`."""

import sys
from pathlib import Path

import pytest

pytest.register_assert_rewrite("contract")
sys.path.insert(0, str(Path(__file__).parent))
