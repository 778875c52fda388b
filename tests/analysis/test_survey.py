"""The survey: figures of a small recording, and the same from any batches."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.analysis.intervals import Sending
from busprobe.analysis.survey import STATES_KEPT, Survey
from busprobe.analysis.survey_result import BitRate, SurveyResult
from busprobe.bench.model import InputBox, Line
from busprobe.frames import (
    ERROR,
    EXTENDED,
    FD,
    LATE,
    REMOTE,
    SENT,
    SWITCHED,
    Condition,
    FrameBatch,
    InputBatch,
    SourceState,
    StateBatch,
    Tail,
    join_frames,
)  # fmt: skip

MS = 1_000_000
S = 1_000_000_000


def frames(rows: list[tuple[int, int, int, int, bytes]], channels: tuple[str, ...] = ("body", "drive")) -> FrameBatch:
    """Rows of (t_ns, channel number, identifier, flags, payload)."""
    parts = []
    for t_ns, channel, identifier, flags, payload in rows:
        words = np.frombuffer(payload.ljust(64, b"\0"), "<u8").astype(np.uint64)
        tail = Tail(np.zeros(1, np.int64), words[None, 1:]) if len(payload) > 8 else None
        parts.append(
            FrameBatch(
                np.array([t_ns]),
                channels,
                np.array([channel], np.uint8),
                np.array([identifier], np.uint32),
                np.array([flags], np.uint8),
                np.array([len(payload)], np.uint8),
                words[:1],
                tail,
            )
        )
    return join_frames(parts)


def survey(*batches: FrameBatch | InputBatch | StateBatch, rates: dict[str, BitRate] | None = None) -> SurveyResult:
    one = Survey()
    for batch in batches:
        one.add(batch)
    return one.result(bit_rates=rates)


def test_identifiers_are_kept_apart_by_channel_and_kind() -> None:
    found = survey(
        frames([(0, 1, 5, 0, b"\x01"), (1, 0, 5, EXTENDED, b"\x01"), (2, 0, 5, 0, b"\x01"), (3, 0, 3, 0, b"\x01")])
    )
    assert [(i.channel, i.identifier, i.extended) for i in found.identifiers] == [
        ("body", 3, False), ("body", 5, False), ("body", 5, True), ("drive", 5, False),
    ]  # fmt: skip
    assert [c.name for c in found.channels] == ["body", "drive"]
    assert (found.start_ns, found.end_ns, found.frames) == (0, 3, 4)


def test_a_cyclic_message_and_one_sent_on_change() -> None:
    rows = [(k * 20 * MS, 0, 0x100, 0, bytes([k & 1, 7])) for k in range(50)]
    rows += [(t * MS, 0, 0x200, 0, b"\x00") for t in (*range(3, 23), 900)]
    found = survey(frames(sorted(rows)))
    regular, seldom = found.identifiers
    assert (regular.intervals.sending, regular.intervals.median_ns) == (Sending.CYCLIC, 20 * MS)
    assert (seldom.intervals.sending, seldom.intervals.longest_ns) == (Sending.ON_CHANGE, 878 * MS)
    assert seldom.intervals.longest_from_ns == 22 * MS


def test_changing_bits_lengths_and_tail() -> None:
    found = survey(
        frames([(0, 0, 1, FD, bytes([1, 0xF0]) + bytes(62)), (1, 0, 1, FD, bytes([1, 0xF1]) + bytes(61) + b"\x80")])
    )
    (one,) = found.identifiers
    assert one.lengths == (64,)
    assert one.changing == (1 << 8, 0, 0, 0, 0, 0, 0, 0x80 << 56)


def test_a_missing_byte_counts_as_zero() -> None:
    found = survey(frames([(0, 0, 1, 0, b"\x07\x03"), (1, 0, 1, 0, b"\x07")]))
    assert (found.identifiers[0].lengths, found.identifiers[0].changing) == ((1, 2), (0x0300,))


def test_error_remote_sent_and_late_frames_are_counted() -> None:
    found = survey(
        frames(
            [(0, 0, 9, 0, b"\x01"), (1, 0, 9, REMOTE, b""), (2, 0, 0x80, ERROR, b""), (3, 0, 9, SENT | LATE, b"\x01")]
        )
    )
    (channel,), (one,) = found.channels, found.identifiers
    assert (channel.frames, channel.data_frames, channel.errors, channel.remotes) == (4, 2, 1, 1)
    assert (channel.sent, channel.late) == (1, 1)
    assert (one.count, one.remotes, one.changing) == (2, 1, (0,))


def test_an_identifier_of_remote_frames_only() -> None:
    found = survey(frames([(0, 0, 9, REMOTE, b""), (5, 0, 9, REMOTE, b"")]))
    (one,) = found.identifiers
    assert (one.count, one.remotes, one.first_ns, one.last_ns, one.lengths) == (0, 2, 0, 5, ())


def test_bus_load_from_frames_worked_by_hand() -> None:
    """std 0x555 8 x AA takes 112 bits with space (data/can_frames_exact.csv): 100 in a second at 125 kbit/s."""
    rows = [(k * 10 * MS, 0, 0x555, 0, b"\xaa" * 8) for k in range(101)]
    (channel,) = survey(frames(rows), rates={"body": BitRate(125_000)}).channels
    assert channel.load == pytest.approx(101 * 112 / 125_000)
    assert channel.busiest == pytest.approx(101 * 112 / 125_000), "the second that holds both its ends"
    assert channel.busiest_ns == 0


@pytest.mark.parametrize("from_ms", [0, 700])
def test_the_busiest_second_of_a_short_channel_is_not_below_its_load(from_ms: int) -> None:
    """0.7 s within one second, and 0.7 s across two."""
    rows = [((from_ms + k * 10) * MS, 0, 0x555, 0, b"\xaa" * 8) for k in range(71)]
    (channel,) = survey(frames(rows), rates={"body": BitRate(125_000)}).channels
    assert channel.busiest == channel.load == pytest.approx(71 * 112 / 125_000 / 0.7)


def test_no_load_without_the_rates_that_the_frames_need() -> None:
    rows = [(k * MS, 0, 1, FD | SWITCHED, bytes(8)) for k in range(3)]
    assert survey(frames(rows)).channels[0].load is None
    assert survey(frames(rows), rates={"body": BitRate(500_000)}).channels[0].load is None
    assert survey(frames(rows), rates={"body": BitRate(500_000, 2_000_000)}).channels[0].load is not None


def test_share_decoded_and_names() -> None:
    one = Survey()
    one.add(frames([(0, 0, 1, 0, b""), (1, 0, 1, 0, b""), (2, 0, 2, 0, b""), (3, 1, 1, 0, b"")]))
    found = one.result(lambda channel, identifier, extended: "Doors" if (channel, identifier) == ("body", 1) else None)
    assert [c.decoded for c in found.channels] == [2, 0]
    assert [i.message for i in found.identifiers] == ["Doors", None, None]
    assert one.result().channels[0].decoded is None


def test_input_box() -> None:
    box = InputBox("box", "modbus", lines=(Line("door", 3), Line("never", 4), Line("battery", 1, analogue=True)))
    one = Survey()
    one.add(
        InputBatch(
            "box",
            np.arange(4) * 10 * MS,
            np.array([8, 0, 8, 9], np.uint64),
            np.array([[0, 12_000], [0, 13_800], [1, 12_400], [0, 12_500]], np.int32),
            np.array([False, False, True, False]),
        )
    )
    (seen,) = one.result(boxes=(box,)).boxes
    assert (seen.polls, seen.late, seen.intervals.median_ns) == (4, 1, 10 * MS)
    assert [(n.number, n.name, n.edges, n.high) for n in seen.lines] == [
        (0, "", 1, True), (3, "door", 2, True), (4, "never", 0, False),
    ]  # fmt: skip
    assert [(a.name, a.least_mv, a.greatest_mv) for a in seen.analogue] == [("", 0, 1), ("battery", 12_000, 13_800)]


def test_source_states_are_kept_up_to_a_number_and_all_counted() -> None:
    rows = tuple(SourceState(k, "body", Condition.DOWN) for k in range(STATES_KEPT + 5))
    found = survey(StateBatch(rows[:7]), StateBatch(rows[7:]))
    assert (found.states, found.state_count) == (rows[:STATES_KEPT], STATES_KEPT + 5)


def test_nothing_at_all() -> None:
    found = survey()
    assert (found.start_ns, found.end_ns, found.frames, found.identifiers) == (None, None, 0, ())


rows_of_frames = st.lists(
    st.tuples(
        st.integers(0, 3 * S) | st.integers(0, 50),
        st.integers(0, 1),
        st.sampled_from([1, 2, 0x7FF]),
        st.sampled_from([0, 0, 0, EXTENDED, FD, REMOTE, ERROR, LATE]),
        st.sampled_from([b"", b"\x01", b"\x02\x03", bytes(range(8)), b"\xff" * 12]),
    ),
    min_size=1,
    max_size=120,
)


@settings(max_examples=60, deadline=None)
@given(rows_of_frames, st.lists(st.integers(0, 120), max_size=6), st.booleans())
def test_any_batches_give_the_identical_survey(
    rows: list[tuple[int, int, int, int, bytes]], cuts: list[int], in_order: bool
) -> None:
    whole = frames(sorted(rows) if in_order else rows)
    edges = [0, *sorted(min(cut, len(whole)) for cut in cuts), len(whole)]
    pieces = [whole.take(np.arange(a, b)) for a, b in pairwise(edges)]
    polls = InputBatch("box", whole.t_ns, whole.payload, whole.length.astype(np.int32)[:, None])
    poll_pieces = [
        InputBatch("box", polls.t_ns[a:b], polls.mask[a:b], polls.analogue[a:b] if polls.analogue is not None else None)
        for a, b in pairwise(edges)
    ]
    rates = {"body": BitRate(500_000, 2_000_000)}
    assert survey(*pieces, *poll_pieces, rates=rates) == survey(whole, polls, rates=rates)
