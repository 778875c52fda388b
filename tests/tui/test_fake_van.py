"""The literal pictures say what the program says."""

from __future__ import annotations

from pathlib import Path

import fake_van

from busprobe.errors import Problems
from busprobe.session.incomplete import load_what_is_there

BENCH = Path(__file__).parents[2] / "dbc_samples" / "patrol_van.toml"


def test_a_missing_database_in_the_words_of_the_program(tmp_path: Path) -> None:
    """The bench file alone, without the database beside it."""
    alone = tmp_path / BENCH.name
    alone.write_bytes(BENCH.read_bytes())
    problems = Problems()
    load_what_is_there(alone, problems)
    said = [str(problem).replace(tmp_path.as_posix(), fake_van.BENCH_FOLDER) for problem in problems.items]
    assert said == list(fake_van.TROUBLE.problems) == [fake_van.NO_DATABASE]
