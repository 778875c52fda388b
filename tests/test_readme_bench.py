"""The bench file that README.md shows is one that busprobe takes."""

import re
import shutil
from pathlib import Path

from busprobe.session.verifying import load_plan

ROOT = Path(__file__).parents[1]


def test_the_bench_file_of_the_readme_is_taken(tmp_path: Path) -> None:
    """As printed, beside the database that it names."""
    chapter = (ROOT / "README.md").read_text(encoding="utf-8").split("\n## The bench file\n")[1]
    example = re.search(r"```toml\n(.*?)```", chapter, re.DOTALL)
    assert example is not None
    path = tmp_path / "van.toml"
    path.write_text(example[1], encoding="utf-8")
    shutil.copy(ROOT / "dbc_samples" / "patrol_van.dbc", tmp_path)
    plan, databases = load_plan(path)
    assert plan.bench.vehicle == "Roads patrol van 12"
    assert list(databases) == ["body"]
