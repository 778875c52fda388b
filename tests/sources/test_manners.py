"""Asking seldom, never beside another tester, never among J1939 traffic."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from obd_bus import MS, START, ObdBus, answers, batch_of, padded, requests_sent

from busprobe.frames import SENT
from busprobe.health import MOST_ASKED, RequestsNow
from busprobe.obd_identifiers import answer_rows, is_answer, obd_rows, request_rows
from busprobe.recording.health_rows import requests_note
from busprobe.sources.manners import QUIET_NS, Manners, Pace, RequestWatch
from busprobe.van.control_units import ControlUnit

SECOND = 1000 * MS


def vehicle():
    return ObdBus(ControlUnit(0x7E8, {0x0D: b"\x3c"}, "A0TPV3D23TK000012"))


@given(st.lists(st.integers(0, 300), max_size=60))
def test_never_more_than_ten_requests_in_any_second(steps_ms):
    pace, now, sent = Pace(), START, []
    for step in steps_ms:
        now += step * MS
        if pace.is_due(now):
            pace.note(now)
            sent.append(now)
    assert all(later - earlier >= SECOND for earlier, later in zip(sent, sent[10:], strict=False))


def test_a_hurried_asker_is_held_back():
    bus = vehicle()
    requester = bus.requester()
    for _ in range(30):
        assert answers(bus.exchange(requester, "01 0D", {0x7E8}))
    times = [ms for ms, _, _ in bus.sent]
    assert len(times) == 30
    assert all(later - earlier >= 1000 for earlier, later in zip(times, times[10:], strict=False))


def test_nothing_is_asked_beside_another_tester():
    bus = vehicle()
    requester = bus.requester()
    bus.others(10, 0x7DF, "02 01 0C")
    exchange = bus.exchange(requester, "01 0D")
    assert exchange.trouble == (
        'Another tester asks on the bus "body": its answers are used, nothing is asked beside it.'
    )
    assert (exchange.sent_ns, bus.sent) == (None, [])


def test_five_seconds_after_its_last_frame_it_is_gone():
    bus = vehicle()
    requester = bus.requester()
    for ms in (10, 510, 1010):
        bus.others(ms, 0x7DF, "02 01 0D")
    while bus.exchange(requester, "01 0D").trouble:
        assert bus.ms < 7000
    assert 6010 <= bus.ms < 6500
    assert requester.manners.testers.seen.requests == 3


def test_it_comes_while_an_answer_is_awaited():
    bus = vehicle()
    requester = bus.requester()
    bus.others(25, 0x7DF, "02 01 0D")
    assert bus.exchange(requester, "09 02").answers
    assert bus.exchange(requester, "01 0D").trouble
    assert requests_sent(bus) == [("7DF", "09 02")]


@pytest.mark.parametrize(
    ("identifier", "text"),
    [
        (0x7DF, "02 01 0C"),
        (0x7E0, "02 3E 80"),
        (0x7E7, "30 00 00"),
        (0x7E0, "10 0B 2E F1 90 31 32 33"),
        (0x18DB33F1, "02 01 0C"),
        (0x18DA10F1, "30 00 00"),
        (0x7E8, "03 41 0C 00"),
        (0x18DAF110, "10 14 49 02 01 41 30 54"),
    ],
    ids=["to all", "tester present", "flow control", "long request", "29 bits to all", "29 bits flow control",
         "answer nobody asked for", "29-bit answer nobody asked for"],
)  # fmt: skip
def test_signs_of_another_tester(identifier, text):
    manners = Manners("body", 0)
    manners.feed(batch_of([(START, identifier, padded(text))]))
    assert manners.refusal(START + 4999 * MS)
    assert not manners.refusal(START + 5000 * MS)


@pytest.mark.parametrize(
    ("identifier", "flags"),
    [(0x7DF, SENT), (0x7DE, 0), (0x7F0, 0), (0x18DB33F2, 0), (0x18DAF1F1, 0), (0x18DA1000, 0), (0x100, 0)],
)
def test_no_signs_of_another_tester(identifier, flags):
    manners = Manners("body", 0)
    manners.feed(batch_of([(START, identifier, padded("02 01 0C"), flags)]))
    assert not manners.refusal(START)
    assert manners.testers.seen is None


def test_late_answers_to_our_own_requests_are_no_sign():
    watch = RequestWatch()
    watch.note_own(0x7DF, padded("02 09 02"), START)
    watch.feed(batch_of([(START + 5900 * MS, 0x7E8, padded("03 7F 09 78"))]))
    assert watch.seen is None
    watch.feed(batch_of([(START + 6100 * MS, 0x7E8, padded("03 41 0D 3C"))]))
    assert watch.seen.stray_answers == 1


def test_what_is_said_of_another_tester():
    watch = RequestWatch()
    rows = [(START + number * 500 * MS, 0x7DF, padded("04 01 0C 0D 42")) for number in range(5)]
    watch.feed(
        batch_of([*rows, (START + 2100 * MS, 0x7E0, padded("30 00 00")), (START + 2500 * MS, 0x7DF, padded("01 03"))])
    )
    seen = watch.seen
    assert seen.identifiers == (0x7DF, 0x7E0)
    assert (seen.requests, seen.asked) == (6, ("01 0C 0D 42", "03"))
    assert seen.per_second == pytest.approx(2.0)
    assert (seen.first_ns, seen.last_ns) == (START, START + 2500 * MS)


def test_of_a_tester_that_never_asks_the_same_twice_only_so_much_is_kept():
    """As one that goes through data identifiers, or writes into a unit: all of it goes into a recording each second."""
    watch = RequestWatch()
    rows = [(START + i * MS, 0x7E0, padded(f"03 22 {i >> 8:02X} {i & 255:02X}")) for i in range(3000)]
    watch.feed(batch_of(rows))
    seen = watch.seen
    assert (seen.requests, len(seen.asked), seen.asked[-1]) == (3000, MOST_ASKED, f"22 00 {MOST_ASKED - 1:02X}")
    assert len(requests_note(RequestsNow("body", other=seen))) < 3000


def test_another_tester_that_asks_the_same_is_told_from_an_echo():
    watch = RequestWatch()
    watch.note_own(0x7DF, padded("02 01 0D"), START)
    watch.feed(batch_of([(START + MS, 0x7DF, padded("02 01 0D"))]))
    assert watch.seen is None
    watch.feed(batch_of([(START + 2 * MS, 0x7DF, padded("02 01 0D"))]))
    assert watch.seen.requests == 1


def test_an_own_frame_that_never_came_back_hides_nothing_later():
    watch = RequestWatch()
    watch.note_own(0x7DF, padded("02 01 0D"), START)
    watch.feed(batch_of([(START + 1100 * MS, 0x7DF, padded("02 01 0D"))]))
    assert watch.seen.requests == 1


def test_the_bus_is_listened_to_first():
    bus = vehicle()
    requester = bus.requester(QUIET_NS)
    assert bus.exchange(requester, "01 0D").trouble == (
        'The bus "body" is listened to for 5 s before anything is asked.'
    )
    while bus.exchange(requester, "01 0D").trouble:
        assert bus.ms < 6000
    assert bus.sent[0][0] == 5020, "five seconds after the first batch"


def test_a_bus_that_was_gone_is_listened_to_anew():
    bus = vehicle()
    requester = bus.requester(QUIET_NS)
    while bus.exchange(requester, "01 0D").trouble:
        assert bus.ms < 6000
    bus.now_ns += 1500 * MS
    assert "is listened to" in bus.exchange(requester, "01 0D").trouble


def test_a_bus_of_which_nothing_has_been_read_lately_is_not_asked() -> None:
    """The program was held up: another tester's frames may wait to be read."""
    bus = vehicle()
    requester = bus.requester(QUIET_NS)
    while bus.exchange(requester, "01 0D").trouble:
        assert bus.ms < 6000
    sent = len(bus.sent)
    requester.ask(b"\x01\x0d")
    refused = requester.step(bus.now_ns + 6000 * MS)
    assert refused is not None
    assert "is listened to" in refused.trouble
    assert len(bus.sent) == sent


def test_never_among_j1939_traffic():
    bus = vehicle()
    requester = bus.requester()
    bus.others(5, 0x0CF00400, "00 00 00 00 00 00 00 00")
    exchange = bus.exchange(requester, "01 0D")
    assert exchange.trouble == 'The bus "body" carries J1939 traffic (0CF00400, EEC1): nothing is asked there.'
    for _ in range(1000):
        bus.turn(requester)
    assert bus.exchange(requester, "01 0D").trouble
    assert bus.sent == []


def test_29_bits_are_not_tried_where_j1939_shows_up_in_between():
    bus = ObdBus()
    requester = bus.requester()
    bus.others(100, 0x18FEF100, "00 00 00 00 00 00 00 00")
    assert bus.exchange(requester, "01 0D").trouble
    assert requests_sent(bus) == [("7DF", "01 0D")]


def test_the_same_identifiers_as_the_listener():
    """Who asks and who listens to answers must mean the same frames."""
    eleven, wide = range(0x7D0, 0x800), range(0x18DA0000, 0x18DC0000)
    for identifiers in (eleven, wide):
        batch = batch_of([(START, i, b"") for i in identifiers])
        asked, answered = request_rows(batch), answer_rows(batch)
        assert np.array_equal(np.sort(np.concatenate((asked, answered))), obd_rows(batch))
        assert not any(is_answer(i) for i in batch.identifier[asked].tolist())
        assert all(is_answer(i) for i in batch.identifier[answered].tolist())
