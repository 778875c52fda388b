"""What is kept of one tap for looking back: the same words as a report's, however the data were cut."""

from __future__ import annotations

import numpy as np

from busprobe.decode.answers import Reading, Request
from busprobe.engine.tap_past import MOST_MESSAGES, TapPast


def reading(t_ns: int) -> Reading:
    return Reading(t_ns, "body", 0x7E8, 1, 0x0D, "0D", "Vehicle speed", 30.0, "km/h", None, 30)


def request(t_ns: int) -> Request:
    return Request(t_ns, "body", 0x7DF, 1, (0x0D,), was_sent=False)


def test_samples_tell_the_newest_at_any_time() -> None:
    past = TapPast()
    assert past.last_sample(5) is None
    past.sampled(np.array([10, 20], np.int64))
    past.sampled(np.array([], np.int64))
    past.sampled(np.array([30], np.int64))
    assert [past.last_sample(t) for t in (9, 10, 29, 30, 99)] == [None, 10, 20, 30, 30]
    past.forget(20)
    assert [past.last_sample(t) for t in (19, 20, 99)] == [None, 20, 30]


def test_the_newest_request_and_answer_at_any_time() -> None:
    past = TapPast()
    past.heard([request(10), reading(12), request(20), reading(23)])
    asked = [past.request_at(t) for t in (9, 10, 19, 20)]
    assert [None if r is None else r.t_ns for r in asked] == [None, 10, 10, 20]
    answered = [past.answer_at(t) for t in (11, 12, 22, 99)]
    assert [None if a is None else a.t_ns for a in answered] == [None, 12, 12, 23]
    past.forget(20)
    assert past.answer_at(19) is None


def test_of_very_many_answers_the_newest_are_kept() -> None:
    past = TapPast()
    past.heard([reading(t) for t in range(MOST_MESSAGES + 1)])
    assert past.answer_at(0) is None
    newest = past.answer_at(MOST_MESSAGES)
    assert newest is not None
    assert newest.t_ns == MOST_MESSAGES
