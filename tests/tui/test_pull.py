"""Pictures pulled from a scene: what is held is whole."""

from __future__ import annotations

from fake_scene import FakeScene

from busprobe.tui.pull import Pull


def test_a_picture_is_taken_where_there_is_a_new_one(live: FakeScene) -> None:
    pull = Pull(live)
    first = pull.take()
    assert first is pull.last is not None
    assert pull.take() is None
    live.alter(t_ns=first.t_ns + 1)
    assert pull.take() is pull.last is not first


def test_what_is_held_stays_and_needs_nothing_more_of_the_scene(live: FakeScene) -> None:
    pull = Pull(live)
    held = pull.take()
    assert held is not None
    pull.hold()
    assert pull.is_holding
    assert all("strip" in vars(signal) for signal in held.signals)
    live.alter(t_ns=held.t_ns + 1)
    assert pull.take() is None
    assert pull.last is held
    pull.hold()
    assert not pull.is_holding
    assert pull.take() is pull.last is not held
