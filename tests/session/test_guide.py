"""The guide of a scene: keys and pictures in, results out, each kept once."""

from __future__ import annotations

from walked import START, Points, picture, pictures

from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.guide import Guide
from busprobe.session.walk_seen import Happening

REST: Points = [(0, 0)]
PRESSES: Points = [(0, 0), *((1000 + 400 * i, (i + 1) % 2) for i in range(6))]


class Kept:
    """Takes results, and says what it is told to."""

    def __init__(self, says: str = "") -> None:
        self.results: list[WalkResult] = []
        self.says = says

    def __call__(self, result: WalkResult) -> str:
        self.results.append(result)
        return self.says


def test_the_tasks_come_from_the_first_picture_and_nothing_is_asked_until_told() -> None:
    guide = Guide(Kept())
    assert (guide.walk, guide.is_listening) == (None, False)
    assert guide.look(picture(REST, 0)) == ()
    assert guide.walk is not None
    assert ([task.signal for task in guide.walk.tasks], guide.is_listening) == (["it"], False)
    guide.begin()
    assert guide.is_listening
    assert guide.look(picture(REST, 50)) == (Happening.PROMPT,)


def test_a_result_is_kept_once_and_what_was_said_is_told() -> None:
    kept = Kept("not recorded")
    guide = Guide(kept)
    guide.look(picture(PRESSES, 0))
    guide.begin()
    for one in pictures(PRESSES, 6000, 50):
        guide.look(one)
    assert [r.outcome for r in kept.results] == [WalkOutcome.CONFIRMED]
    assert guide.found == tuple(kept.results)
    assert guide.told == "not recorded"


def test_earlier_results_stay_when_a_role_is_asked_for_again() -> None:
    guide = Guide(Kept(), recorded=(one := WalkResult("it", "door", WalkOutcome.CONFIRMED, 6, 0, 0, START, 1, ""),))
    for _ in range(2):
        guide.look(picture(REST, 0))
        guide.ask("it")
        guide.look(picture(REST, 0))
        guide.go_on(picture(REST, 100))
    assert [r.outcome for r in guide.found] == [WalkOutcome.NOT_SEEN] * 2
    assert guide.recorded == (one,)


def test_a_wiggle_test_gives_a_result_and_asking_ends_it_without_one() -> None:
    kept = Kept()
    guide = Guide(kept)
    guide.look(picture(REST, 0))
    guide.start_wiggle("it")
    assert guide.is_listening
    assert guide.end_wiggle() is None
    guide.start_wiggle("it")
    for one in pictures(PRESSES, 2000, 50):
        guide.look(one)
    result = guide.end_wiggle()
    assert result is not None
    assert (result.signal, result.role, result.outcome, result.edges) == ("it", "", WalkOutcome.WIGGLED, 3)
    assert (result.took_ns, result.bounce) == (2_000_000_000, None)
    guide.start_wiggle("it")
    guide.begin()
    assert guide.wiggle is None
    assert kept.results == [result]


def test_keys_before_the_first_picture_do_nothing() -> None:
    guide = Guide(Kept())
    guide.begin()
    guide.again()
    guide.ask("it")
    assert guide.go_on(picture(REST, 0)) == ()
    assert guide.walk is None
