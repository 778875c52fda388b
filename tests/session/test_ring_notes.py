"""What a full ring has dropped is said of its recording too, and where it is shown."""

import time
from contextlib import closing
from pathlib import Path

from test_same_times import BENCH, MS, START_NS, frames

from busprobe.frames import Condition, SourceState
from busprobe.recording.write import RecordingWriter
from busprobe.session.downs import Downs
from busprobe.session.kept_marks import gap_marks
from busprobe.session.scene import Scene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import Mark
from busprobe.session.surveying import survey
from busprobe.session.verifying import verify


def test_survey_and_verify_say_what_is_gone(tmp_path: Path) -> None:
    path = tmp_path / "ring.duckdb"
    with RecordingWriter(path, about={"start_ns": str(START_NS)}, bench={}) as writer:
        writer.add(frames(*range(0, 10_000, 10)))
        dropped = writer.drop_oldest(0.5)
    assert dropped == START_NS + 5000 * MS
    (tmp_path / "van.toml").write_text(BENCH)
    told = "The ring was full: the first 5 s have been dropped, all before 5.000 s."
    assert told in survey(path).notes
    assert told in verify(path, tmp_path / "van.toml").notes
    with closing(open_scene(path, tmp_path / "van.toml")) as scene:
        until_loaded(scene)
        assert scene.snapshot().problems == (told,)
        assert scene.player is not None
        assert list(scene.player.marks) == [Mark(START_NS, "gap", "ring full: first 5 s dropped", dropped)]


def test_a_gap_lasts_until_its_source_is_back() -> None:
    downs = Downs()
    rows = [
        SourceState(1, "body", Condition.UP),
        SourceState(5, "body", Condition.DOWN, "pulled out"),
        SourceState(6, "box", Condition.DOWN),
        SourceState(9, "body", Condition.UP),
    ]
    downs.add(rows)
    assert gap_marks(rows, downs) == [Mark(5, "gap", "body down: pulled out", 9), Mark(6, "gap", "box down")]


def until_loaded(scene: Scene) -> None:
    deadline = time.monotonic() + 60.0
    while scene.snapshot().loaded < 1.0:
        assert time.monotonic() < deadline
        time.sleep(0.02)
