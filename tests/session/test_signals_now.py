"""Signals of a picture are made one by one, once, and only those that are looked at."""

from __future__ import annotations

from dataclasses import replace

from busprobe.session.signals_now import Kind, Make, SignalNow, SignalsNow
from busprobe.session.snapshot import Snapshot
from busprobe.timeline import TRUE

ROLES = {"gear": "gear", "left": "door", "volts": None, "right": "door"}


def test_only_what_is_looked_at_is_made_and_that_once() -> None:
    made: list[str] = []

    def begin() -> Make:
        made.append("begin")

        def make(name: str) -> SignalNow:
            made.append(name)
            return SignalNow(name, ROLES[name], Kind.BUS, "", TRUE, True, None, "on", None, None, None, None, 0)

        return make

    signals = SignalsNow(ROLES, begin)
    picture = Snapshot("live", "", "", 0, 0, 0, signals)
    assert len(signals) == 4
    assert picture.signal("nothing") is None
    assert made == []
    assert [s.name for s in picture.signals_of("door")] == ["left", "right"]
    assert made == ["begin", "left", "right"]
    gear = picture.signal("gear")
    assert gear is signals[0] is picture.signals_of("gear")[0]
    assert [s.name for s in signals[1:3]] == ["left", "volts"]
    assert [s.name for s in signals] == list(ROLES)
    assert made == ["begin", "left", "right", "gear", "volts"]

    later = signals.changed(lambda one: replace(one, edges=one.edges + 1))
    assert [s.edges for s in later] == [1, 1, 1, 1]
    assert [s.edges for s in signals] == [0, 0, 0, 0]
    assert len(made) == 5


def test_a_picture_of_given_signals_finds_them_too() -> None:
    door = SignalNow("left", "door", Kind.LINE, "", TRUE, True, None, "on", None, None, None, None, 0)
    picture = Snapshot("live", "", "", 0, 0, 0, (door,))
    assert picture.signals_of("door") == [door]
    assert picture.signal("left") is door
    assert picture.signal("right") is None
