"""What a recording holds to be opened without any other file."""

from __future__ import annotations

from pathlib import Path

from busprobe.bench.load import load
from busprobe.errors import Problems
from busprobe.session.enclosed import enclosed_plan, enclosed_texts

DBC = 'VERSION ""\n\nBS_:\n\nBU_: A\n\nBO_ {number} {name}: 8 A\n SG_ S : 0|8@1+ (1,0) [0|255] "" A\n'
BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
databases = ["front/van.dbc", "rear/van.dbc"]
[[bus]]
name = "chassis"
databases = ["rear/van.dbc", "van 2.dbc"]
[signals]
first = { from = "body.First.S" }
second = { from = "chassis.Second.S" }
third = { from = "chassis.Third.S" }
"""


def test_databases_of_one_name_in_different_folders(tmp_path: Path) -> None:
    """Each keeps its text and its bus, also where a number would make a name that is there already."""
    files = {"front/van.dbc": (256, "First"), "rear/van.dbc": (257, "Second"), "van 2.dbc": (258, "Third")}
    for name, (number, message) in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(DBC.format(number=number, name=message), encoding="utf-8")
    (tmp_path / "roads.toml").write_text(BENCH, encoding="utf-8")
    bench = load(tmp_path / "roads.toml")
    paths = {path for bus in bench.buses for path in bus.databases}
    texts = enclosed_texts(bench, {path: path.read_text(encoding="utf-8") for path in paths})
    assert list(texts) == ["roads.toml", "van.dbc", "van 2.dbc", "van 2 2.dbc"]
    found = enclosed_plan(texts, Problems(strict=True))
    assert found is not None
    plan, databases = found
    assert list(plan.signals) == ["first", "second", "third"]
    messages = {bus: [m.name for d in several for m in d.messages] for bus, several in databases.items()}
    assert messages == {"body": ["First", "Second"], "chassis": ["Second", "Third"]}


def test_no_bench_file() -> None:
    assert enclosed_plan({"van.dbc": DBC.format(number=256, name="First")}, Problems(strict=True)) is None
