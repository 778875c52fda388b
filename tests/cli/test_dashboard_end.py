"""How the dashboard ends: what was recorded is in its file, however long that takes to close."""

from __future__ import annotations

import threading
import time
from contextlib import nullcontext
from pathlib import Path

import pytest

from busprobe.cli import dashboard
from busprobe.session.recorder import Recorder, not_closed_yet


class Recording:
    """A scene that gives up waiting for the file of its recording, which another thread still has to end."""

    def __init__(self, recorder: Recorder) -> None:
        self.recorder = recorder

    def close(self) -> None:
        threading.Thread(target=self._end_later).start()

    def _end_later(self) -> None:
        time.sleep(0.2)
        self.recorder.end()


class App:
    """Ends at once."""

    saved: tuple[str, ...] = ()
    return_code = 0

    def __init__(self, scene: Recording, **more: object) -> None:
        self.scene = scene

    def run(self) -> None:
        pass


def test_it_waits_for_the_file_of_a_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("busprobe.tui.app.BusprobeApp", App)
    monkeypatch.setattr(dashboard, "_signalled_when_the_terminal_goes", nullcontext)
    path = tmp_path / "slow.duckdb"
    recorder = Recorder(path, about={}, bench={})
    close = recorder._writer.close

    def slowly() -> None:
        time.sleep(0.3)
        close()

    monkeypatch.setattr(recorder._writer, "close", slowly)
    recorder.start()
    assert dashboard.run_dashboard(lambda _: Recording(recorder), "dark") == 0  # type: ignore[arg-type,return-value]
    assert not_closed_yet() == []
    assert capsys.readouterr().err == "slow.duckdb: the recording is being closed.\n"
    assert not path.with_name("slow.duckdb.wal").exists()
