"""A recording that is switched on or off while somebody looks: a picture is of the run before, or of the one after."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hands import Hands, hands
from test_live_scene import until

from busprobe.session.board import Board
from busprobe.session.snapshot import Snapshot
from busprobe.timeline import TRUE


@pytest.fixture
def watcher() -> Iterator[Hands]:
    with hands() as watcher:
        yield watcher


def all_known(picture: Snapshot) -> bool:
    return all(signal.code <= TRUE for signal in picture.signals)


def test_it_is_switched_on_in_the_midst_of_a_picture(
    watcher: Hands, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = watcher.scene
    before, now_ns = scene.snapshot(), scene._run.clock.now_ns

    def switched_meanwhile() -> int:
        if threading.current_thread() is threading.main_thread():
            monkeypatch.undo()
            assert scene.start_recording(str(tmp_path / "drive.duckdb")) == ""
            until(lambda: scene._run.start_ns != before.start_ns and scene._recorder is not None)
        return now_ns()

    monkeypatch.setattr(scene._run.clock, "now_ns", switched_meanwhile)
    picture = scene.snapshot()
    assert (picture.start_ns, picture.recorder) == (before.start_ns, None)
    assert all_known(picture)
    assert scene.snapshot().start_ns != before.start_ns


def test_a_picture_in_the_midst_of_the_switching(
    watcher: Hands, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = watcher.scene
    before, begin = scene.snapshot(), scene._run.begin
    pictures: list[Snapshot] = []
    look = threading.Thread(target=lambda: pictures.append(scene.snapshot()))

    def begin_while_somebody_looks(*given: object) -> None:
        look.start()
        look.join(0.3)  # it may wait for the new run
        begin(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(scene._run, "begin", begin_while_somebody_looks)
    assert scene.start_recording(str(tmp_path / "drive.duckdb")) == ""
    until(lambda: bool(pictures))
    (picture,) = pictures
    assert picture.start_ns != before.start_ns or all_known(picture)


def test_the_path_of_a_signal_is_of_one_run_too(watcher: Hands, monkeypatch: pytest.MonkeyPatch) -> None:
    """The checks of the next run come in just when the board of this one is told to make it."""
    scene = watcher.scene
    board, checks, given = scene._board, scene._checks, []

    def switched_meanwhile(of: Board) -> Callable[..., None]:
        monkeypatch.setattr(scene, "_checks", ("of the next run",))
        return lambda *parts: given.append((of, parts[-1]))

    monkeypatch.setattr(Board, "path", property(switched_meanwhile))
    scene.path("gear")
    assert given == [(board, checks)]


class Slow(list):  # type: ignore[type-arg]
    """Takes its time to forget."""

    def __delitem__(self, place: object) -> None:
        time.sleep(0.3)
        super().__delitem__(place)  # type: ignore[arg-type]


def test_who_sees_that_it_is_switched_may_switch_again_at_once(watcher: Hands, tmp_path: Path) -> None:
    scene = watcher.scene
    scene._wanted = Slow()
    for name in ("first.duckdb", "second.duckdb"):
        assert scene.start_recording(str(tmp_path / name)) == ""
        until(lambda: scene.snapshot().recorder is not None)
        assert scene.stop_recording() == ""
        until(lambda: scene.snapshot().recorder is None)
