"""What a full ring has dropped is said of its recording too."""

from pathlib import Path

from test_same_times import BENCH, MS, START_NS, frames

from busprobe.recording.write import RecordingWriter
from busprobe.session.surveying import survey
from busprobe.session.verifying import verify


def test_survey_and_verify_say_what_is_gone(tmp_path: Path) -> None:
    path = tmp_path / "ring.duckdb"
    with RecordingWriter(path, about={"start_ns": str(START_NS)}, bench={}) as writer:
        writer.add(frames(*range(0, 10_000, 10)))
        dropped = writer.drop_oldest(0.5)
    assert dropped == START_NS + 5000 * MS
    (tmp_path / "van.toml").write_text(BENCH)
    told = "The ring was full: what came before 5.000 s has been dropped."
    assert told in survey(path).notes
    assert told in verify(path, tmp_path / "van.toml").notes
