"""Lets the tests of this folder import `drive`."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
pytest.register_assert_rewrite("drive")
