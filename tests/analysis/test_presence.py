"""Which wanted signals are there, and the `max_age` proposed for them."""

from dataclasses import replace

import pytest

from busprobe.analysis import obd_seen
from busprobe.analysis.intervals import IntervalStats, Sending
from busprobe.analysis.obd_seen import ObdSummary, ObdTally
from busprobe.analysis.presence import Presence, TapSeen, WantedTap, tap_presence
from busprobe.analysis.survey_result import BoxSeen, ChannelSeen, IdentifierSeen, LineSeen, SurveyResult
from busprobe.bench.model import Tap

MS = 1_000_000
END = 60_000 * MS


def message(
    sending: Sending = Sending.CYCLIC, median_ms: int = 20, last_ms: int = 60_000, longest_ms: int = 25
) -> IdentifierSeen:
    intervals = IntervalStats(3000, sending, median_ms * MS, MS, longest_ms * MS, 5 * MS)
    return IdentifierSeen("can0", 0x100, False, "Wheels", 3001, 0, (8,), 0, last_ms * MS, intervals, (0,))


def found(*identifiers: IdentifierSeen, boxes: tuple[BoxSeen, ...] = ()) -> SurveyResult:
    channel = ChannelSeen("can0", 0, END, 3001, 0, 0, 0, 0)
    return SurveyResult(0, END, (channel,), identifiers, boxes, (), 0)


def want(**more: int) -> WantedTap:
    return WantedTap("speed", Tap("message", "body", "Wheels", "Speed"), "can0", 0x100, **more)


def judge(wanted: WantedTap, result: SurveyResult, obd: ObdSummary = ObdSummary()) -> TapSeen:  # noqa: B008
    (seen,) = tap_presence([wanted], result, obd)
    return seen


MESSAGES = [
    # (what, wanted, seen, presence, proposed ms, note)
    ("fresh and cyclic: three periods, at least 100 ms", want(), message(), Presence.PRESENT, 100, ""),
    ("three periods, up to whole 10 ms", want(), message(median_ms=101), Presence.PRESENT, 310, ""),
    ("three cycles of the database", want(cycle_ns=50 * MS), message(), Presence.PRESENT, 150, ""),
    ("gone at the end", want(), message(last_ms=59_899), Presence.STALE, 100, ""),
    ("exactly max_age old", want(), message(last_ms=59_900), Presence.PRESENT, 100, ""),
    ("the bench file's max_age rules", want(max_age_ns=5000 * MS), message(last_ms=59_000), Presence.PRESENT, 100, ""),
    ("a gap on the way", want(), message(longest_ms=3000), Presence.PRESENT, 100, "longest gap 3 s"),
    ("sent on change holds", want(), message(Sending.ON_CHANGE, last_ms=1000), Presence.PRESENT, None, ""),
    ("too few to tell", want(), message(Sending.TOO_FEW, last_ms=1000), Presence.PRESENT, None, ""),
]  # fmt: skip


@pytest.mark.parametrize(
    ("wanted", "seen", "presence", "proposed_ms", "note"),
    [row[1:] for row in MESSAGES],
    ids=[row[0] for row in MESSAGES],
)
def test_message(
    wanted: WantedTap, seen: IdentifierSeen, presence: Presence, proposed_ms: int | None, note: str
) -> None:
    result = judge(wanted, found(seen))
    assert result.presence is presence
    assert result.proposed_ns == (proposed_ms * MS if proposed_ms else None)
    assert result.note == note
    assert (result.count, result.tap) == (3001, "body.Wheels.Speed")


def test_missing_message_still_gets_the_database_s_proposal() -> None:
    result = judge(want(cycle_ns=100 * MS), found())
    assert (result.presence, result.count, result.proposed_ns) == (Presence.MISSING, 0, 300 * MS)


def test_input_line_is_present_where_its_box_was_polled() -> None:
    wanted = WantedTap("door", Tap("line", "box", "rear_door", ""))
    box = BoxSeen("box", 6000, 0, 0, END, IntervalStats(0, Sending.TOO_FEW), (), ())
    assert judge(wanted, found(boxes=(box,))).presence is Presence.PRESENT
    assert judge(wanted, found()).presence is Presence.MISSING


def test_obd_quantity() -> None:
    wanted = WantedTap("speed", Tap("obd", "obd", "0D", ""), "can0")
    tally = ObdTally()
    for k in range(5):
        tally.value(k * 500 * MS, "can0", "7E8", service=1, pid="0D", name="0D", title="", value=float(k), unit="km/h")
    result = judge(wanted, found(), tally.result())
    assert (result.presence, result.count, result.proposed_ns) == (Presence.STALE, 5, 1500 * MS)
    assert judge(wanted, found()).presence is Presence.MISSING


@pytest.mark.parametrize(
    ("edges", "changed"), [((("rear_door", 2),), True), ((("rear_door", 0),), False), ((("lamp", 2),), None)]
)
def test_whether_an_input_line_changed(edges: tuple[tuple[str, int], ...], changed: bool | None) -> None:
    lines = tuple(LineSeen(n, name, count, True) for n, (name, count) in enumerate(edges))
    box = BoxSeen("box", 6000, 0, 0, END, IntervalStats(0, Sending.TOO_FEW), lines, ())
    assert judge(WantedTap("door", Tap("line", "box", "rear_door", "")), found(boxes=(box,))).changed is changed


@pytest.mark.parametrize(("values", "changed"), [((1.0, 2.0), True), ((1.0, 1.0), False)])
def test_whether_an_obd_quantity_changed(values: tuple[float, ...], changed: bool) -> None:
    tally = ObdTally()
    for k, value in enumerate(values):
        tally.value(k * MS, "can0", "7E8", service=1, pid="0D", name="0D", title="", value=value, unit="km/h")
    wanted = WantedTap("speed", Tap("obd", "obd", "0D", ""), "can0")
    assert judge(wanted, found(), tally.result()).changed is changed


@pytest.mark.parametrize(("bits", "changed"), [((3, 4), False), ((4, 5), True), ((70,), False), ((), None)])
def test_whether_a_signal_of_a_message_changed(bits: tuple[int, ...], changed: bool | None) -> None:
    seen = replace(message(), changing=(1 << 5,))
    assert judge(replace(want(), bits=bits), found(seen)).changed is changed


@pytest.mark.parametrize(
    ("asked", "channel", "unasked", "absent"),
    [
        ((), "can0", True, False),
        (("01 0C",), "can0", True, False),
        (("01 0C", "01 0D"), "can0", False, False),
        ((), None, True, True),
    ],
    ids=["nobody asked", "for another PID", "asked, no answer", "bus not heard"],
)
def test_an_obd_quantity_that_nobody_answered(
    asked: tuple[str, ...], channel: str | None, unasked: bool, absent: bool
) -> None:
    tester = obd_seen.TesterSeen("can0", 0x7DF, False, False, len(asked), 0, END, asked)
    wanted = WantedTap("speed", Tap("obd", "obd", "0D", ""), channel)
    seen = judge(wanted, found(), ObdSummary(testers=(tester,)))
    assert (seen.presence, seen.unasked, seen.absent) == (Presence.MISSING, unasked, absent)


def test_a_line_whose_box_gave_nothing() -> None:
    seen = judge(WantedTap("door", Tap("line", "box", "rear_door", "")), found())
    assert (seen.presence, seen.absent, seen.on_operation) == (Presence.MISSING, True, False)
