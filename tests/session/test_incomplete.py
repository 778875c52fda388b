"""A bench file whose database is missing: the scene opens, says so, and what needs the database is unknown."""

from __future__ import annotations

import shutil
import time
from contextlib import closing
from pathlib import Path

import pytest
from plugged import van_sources
from scripted import BENCH
from test_live_trouble import code, record, until

from busprobe.bench.load import load, loads
from busprobe.engine.engine import Engine
from busprobe.errors import BenchError, Problems
from busprobe.recording.read import open_recording
from busprobe.results import LogLine
from busprobe.session import live_scene
from busprobe.session.enclosed import enclosed_plan
from busprobe.session.incomplete import load_what_is_there, plan_of_what_is_there
from busprobe.session.live_scene import LiveScene
from busprobe.session.opening import open_source, source_of
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scene import Scene
from busprobe.session.scenes import LIVE, open_scene
from busprobe.session.verifying import load_plan
from busprobe.timeline import FALSE, TRUE
from busprobe.tui.view.health import problem_rows
from busprobe.tui.view.values import value_cell

DRIVE = Path(__file__).parents[2] / "recordings" / "five_faults.duckdb"


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """The shipped bench file, alone in its folder."""
    return Path(shutil.copy(BENCH, tmp_path))


def of_bus(bench: Path) -> set[str]:
    """Signals that come from messages alone."""
    return {s.name for s in load(bench).signals if all(tap.kind == "message" for tap in s.taps)}


def replayed_log(path: Path) -> tuple[LogLine, ...]:
    """The log of a recording by the bench file in it."""
    with open_recording(path) as kept:
        found = enclosed_plan(kept.bench, Problems())
    assert found is not None
    source = open_source(path, problems=Problems())
    engine = Engine(found[0], source.sources, source.uncertainty_ns, by_channel=True)
    with closing(source):
        for batch in source.batches():
            engine.push(source_of(batch), batch)
    return engine.finish().log


def wanted(scene: Scene) -> str:
    return "\n".join(row.as_text() for row in problem_rows(scene.snapshot(), "", 200))


def test_live_it_opens_and_says_what_is_unknown(bench: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Recorded like that, the replay says the same, line by line."""
    monkeypatch.setattr(live_scene, "live_sources", lambda _bench: van_sources(is_in=True))
    path = tmp_path / "drive.duckdb"
    scene = open_scene(LIVE, bench)
    assert isinstance(scene, LiveScene)
    try:
        until(lambda: code(scene, "battery") == TRUE and code(scene, "rear_white") in (TRUE, FALSE))
        until(lambda: len(scene.snapshot().checks) > 0)
        picture = scene.snapshot()
        assert {s.name for s in picture.signals} >= of_bus(bench)
        assert {s.value for s in picture.signals if s.name in of_bus(bench)} == {None}
        said = {value_cell(s)[0].text for s in picture.signals if s.name in of_bus(bench)}
        assert said == {"? unknown (patrol_van.dbc missing)"}
        (told,) = picture.problems
        assert told.startswith(f"{bench.parent / 'patrol_van.dbc'}: There is no such database file.")
        assert "Check the name and the folder." in told
        assert "Unknown without it: gear, brake, park_brake, turn, key, driver_door, road_temperature." in told
        assert told.splitlines()[0] in wanted(scene)
        assert len(picture.checks) == len(load(bench).checks)
        assert set(picture.frames.message) == {""}
        found = scene.path("gear")
        assert found is not None
        assert found.stages[0].text == "none yet"
        fresh = next(stage for stage in found.stages if stage.title == "Freshness")
        assert fresh.text == "patrol_van.dbc missing, never seen"
        record(scene, path)
        time.sleep(2.0)
    finally:
        scene.close()
    with open_recording(path) as kept:
        log = kept.events()
        assert list(kept.bench) == ["patrol_van.toml"]
    replay = open_scene(path)
    try:
        until(lambda: replay.snapshot().loaded == 1.0)
        assert isinstance(replay, ReplayScene)
        (told,) = (p for p in replay.snapshot().problems if "database" in p)
        assert told.splitlines()[:2] == [
            'The database "patrol_van.dbc" could not be read when this was recorded.',
            "Where it is at hand now, give the bench file with --bench.",
        ]
        assert replayed_log(path) == log
        assert {s.value for s in replay.snapshot().signals if s.name in of_bus(bench)} == {None}
    finally:
        replay.close()


def test_a_recording_opens_with_a_bench_file_whose_database_is_missing(bench: Path) -> None:
    scene = open_scene(DRIVE, bench)
    try:
        until(lambda: scene.snapshot().loaded == 1.0)
        picture = scene.snapshot()
        assert picture.failure == ""
        assert len(picture.checks) == len(load(bench).checks)
        assert any("There is no such database file." in p for p in picture.problems)
        assert "There is no such database file." in wanted(scene)
        scene.player.seek(picture.end_ns)  # type: ignore[union-attr]
        signals = scene.snapshot().signals
        assert {s.value for s in signals if s.name in of_bus(bench)} == {None}
        assert any(s.edges for s in signals)
        assert any(s.name == "speed" and s.edges for s in signals)  # the OBD answers give it
    finally:
        scene.close()


@pytest.mark.parametrize("text", ["", "no database at all\n"], ids=["empty", "not a database"])
def test_a_file_that_is_no_database_is_told_too(text: str, bench: Path) -> None:
    (bench.parent / "patrol_van.dbc").write_text(text, encoding="utf-8")
    problems = Problems()
    plan, databases = load_what_is_there(bench, problems)
    assert problems.count == 1
    assert databases == {"body": []}
    assert len(plan.signals) == len(load(bench).signals)


def test_with_every_database_nothing_is_different() -> None:
    problems = Problems()
    plan, _ = load_what_is_there(BENCH, problems)
    assert problems.count == 0
    assert plan == load_plan(BENCH)[0]


MADE = """\
[vehicle]
name = "van"
[[bus]]
name = "body"
interface = "virtual"
channel = "nowhere"
databases = ["gone.dbc"]
[signals]
lever = {{ from = "body.Lever.Position" }}
lamp = {{ from = "body.Lamps.Left" }}
fast = {{ when = "{fast}", above = "8 km/h" }}
speed = {{ from = "body.Wheels.Speed" }}
[[check]]
name = "lamp"
when = "{when}"
expect = "lamp"
within = "1 s"
"""


def made(when: str, fast: str = "speed") -> tuple[list[str], list[str]]:
    """Names of the checks kept, and what is told."""
    problems = Problems()
    plan, _ = plan_of_what_is_there(loads(MADE.format(when=when, fast=fast)), problems)
    return [check.check.name for check in plan.checks], [str(p) for p in problems.items]


@pytest.mark.parametrize("when", ["lever in ('Left', 'Right')", "lever != 'Off' and fast", "speed * 2 > '40 mph'"])
def test_labels_and_units_are_those_that_the_bench_file_speaks_of(when: str) -> None:
    kept, told = made(when)
    assert kept == ["lamp"]
    (one,) = told
    assert one.endswith("Unknown without it: lever, lamp, speed.")


def test_what_only_the_database_could_tell_is_left_out_and_said() -> None:
    kept, told = made("speed > '40 degC' and fast", "speed + lever")
    assert kept == []
    assert any(one.startswith("Left out, because only a database that is missing tells enough: ") for one in told)
    assert '"lamp"' in told[-1]


def test_a_fault_of_the_bench_file_stays_one(bench: Path) -> None:
    """Whatever else is missing: a box line compared with a label that nothing gives it."""
    text = bench.read_text(encoding="utf-8").replace("when = \"gear == 'R'\"", "when = \"rear_white == 'R'\"", 1)
    assert text != bench.read_text(encoding="utf-8")
    bench.write_text(text, encoding="utf-8")
    with pytest.raises(BenchError):
        load_what_is_there(bench, Problems())
