"""What a verification notes of its databases."""

from dataclasses import replace
from pathlib import Path

import pytest

from busprobe.decode.database import load
from busprobe.errors import Problem
from busprobe.session.verifying import _notes

DATABASE = Path(__file__).parents[2] / "dbc_samples" / "patrol_van.dbc"


@pytest.mark.parametrize(("count", "told"), [(1, "1 fault"), (2, "2 faults")])
def test_faults_of_a_database_are_counted(count: int, told: str) -> None:
    database = replace(load(DATABASE), faulty=(Problem("x"),) * count)
    assert list(_notes(0, 1, {"body": [database]})) == [f"patrol_van.dbc: {told}, the rest is used; survey lists them."]
