"""Records that come late, stamps that step back, and the order of the log."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drive import (
    brake,
    check,
    evaluate,
    frames,
    gear,
    in_order,
    ns,
    plan,
    polls,
    run,
    states,
    told,
    trigger,
    triggered,
)

from busprobe.engine.engine import Engine, Results
from busprobe.frames import LATE, Batch, FrameBatch, InputBatch, empty_frames

REVERSE = check('when = "gear == \'R\'"\nexpect = "lamp"\nwithin = "300 ms"')
EDGE = trigger("rises(gear == 'R')")
REST = REVERSE + EDGE + trigger("rises(lamp)", "lamp")

# Late records.


def drive_with(late: InputBatch | FrameBatch | None) -> Results:
    """A reverse with its lamp; logic is at 2 s when this batch comes."""
    body, box = frames(gear("0 P, 1000 R, 2000 P", 3000)), polls("0 F, 1200 T, 2100 F", 3000)
    engine = Engine(plan(REST), ["frames", "box"])
    sources: list[tuple[str, FrameBatch | InputBatch]] = [("frames", body), ("box", box)]
    for name, batch in sources:
        early = batch.cut(0, int(np.searchsorted(batch.t_ns, ns(2000))))
        engine.push(name, replace(early, complete_to_ns=ns(2000)))
    engine.advance()
    if late is not None:
        engine.push("box" if isinstance(late, InputBatch) else "frames", late)
    for name, batch in sources:
        engine.push(name, batch.cut(int(np.searchsorted(batch.t_ns, ns(2000))), len(batch)))
    return engine.finish()


def test_a_late_input_batch_changes_nothing() -> None:
    """Polls from 1.1 s to 1.9 s with the lamp off come after logic has passed 2 s."""
    whole = drive_with(None)
    assert triggered(whole) == ["1000 t", "1200 lamp"]
    late = polls("0 F", 1900, without=(0, 1100))
    found = drive_with(replace(late, complete_to_ns=ns(2000)))
    assert found.late == len(late) == 81
    assert replace(found, late=0) == whole


def test_late_frames_change_nothing() -> None:
    late = frames([(t, i, p) for t, i, p in gear("0 D", 1900) if t > 1100])
    found = drive_with(replace(late, complete_to_ns=ns(2000)))
    assert found.late == len(late)
    assert replace(found, late=0) == drive_with(None)


def test_records_flagged_late_change_nothing() -> None:
    """As they are replayed: nothing had passed them yet, but the flag says that it had."""
    body, box = frames(gear("0 P, 1000 R, 2000 P", 3000)), polls("0 F, 1200 T, 2100 F", 3000)
    whole = evaluate(REST, 3000, body, box)
    late = polls("0 F", 1900, without=(0, 1100))
    marked = InputBatch(
        "box",
        np.concatenate([box.t_ns[:150], late.t_ns, box.t_ns[150:]]),
        np.concatenate([box.mask[:150], late.mask, box.mask[150:]]),
        None,
        np.concatenate([np.zeros(150, bool), np.ones(len(late), bool), np.zeros(len(box) - 150, bool)]),
    )
    frame = frames([(500.0, 256, "0100")])
    flagged = replace(frame, flags=np.array([LATE], np.uint8))
    rows = [body.cut(0, 20), flagged, body.cut(20, len(body))]
    engine = Engine(plan(REST), ["frames", "box"])
    for batch in rows:
        engine.push("frames", batch)
    engine.push("box", marked)
    found = engine.finish()
    assert found.late == len(late) + 1
    assert replace(found, late=0) == whole


def test_a_record_flagged_late_starts_no_segment() -> None:
    """Though it is more than 1 s older than the one before it."""
    body = frames(gear("0 P, 3000 R", 4000))
    flagged = replace(frames([(500.0, 256, "0100")]), flags=np.array([LATE], np.uint8))
    engine = Engine(plan(EDGE), ["frames"])
    for batch in (body.cut(0, 30), flagged, body.cut(30, len(body))):
        engine.push("frames", batch)
    results = engine.finish()
    assert (results.segments, results.late) == (1, 1)
    assert triggered(results) == ["3000 t"]


# Stamps that step back.


@pytest.mark.parametrize("size", [1, 7, 1000])
def test_a_small_step_back_is_flattened(size: int) -> None:
    """Less than 1 s: the frame counts at the newest time before it, and opens nothing anew."""
    rows = [*gear("0 P", 2000), (1800.0, 256, "0100"), (1850.0, 256, "0100"), *gear("0 R", 3000)[20:]]
    for first in (1800.0, 900.0):
        rows[20] = (first, 256, "0100")
        results = in_pieces(EDGE, frames(rows), size)
        assert results.segments == 1
        assert triggered(results) == ["1900 t"]


def in_pieces(rest: str, batch: FrameBatch, size: int) -> Results:
    """Frames as a file gives them: complete to the newest stamp, `advance` after each batch."""
    pieces = [batch.cut(i, min(i + size, len(batch))) for i in range(0, len(batch), size)]
    return run(plan(rest), [("frames", piece) for piece in pieces], advance_every=1)


TWO_RUNS = [*gear("0 P, 5000 R", 6000), *gear("0 P, 1000 R, 2000 P", 3000)]
"""A drive of 6 s, and a second one that begins at 0 again."""


@pytest.mark.parametrize("size", [1, 7, 61, 70, 1000])
def test_a_step_back_of_more_than_1_s_starts_anew(size: int) -> None:
    """Open occurrences are cut short, all is unknown; what comes after counts at its own times."""
    rest = check('when = "gear == \'R\'"\nexpect = "brake"\nwithin = "2 s"') + EDGE
    results = in_pieces(rest, frames(TWO_RUNS), size)
    assert (results.segments, results.late) == (2, 0)
    assert triggered(results) == ["1000 t", "5000 t"]
    assert [o.note for o in results.checks[0].occurrences] == ["", "the data ended"]
    assert told(results.checks[0]) == ["1000 cut short @2000", "5000 cut short @5900"]
    assert [x.t_ns // 1_000_000 for x in results.log] == [5000, 5000, 1000, 1000]


@pytest.mark.parametrize("size", [1, 30, 1000])
def test_exactly_1_s_back_is_flattened(size: int) -> None:
    rows = [*gear("0 P", 3001), (2000.0, 256, "0100"), (3100.0, 256, "0100")]
    results = in_pieces(EDGE, frames(rows), size)
    assert results.segments == 1
    assert triggered(results) == ["3000 t"]
    rows[-2] = (1999.999999, 256, "0100")
    assert in_pieces(EDGE, frames(rows), size).segments == 2


@pytest.mark.parametrize("size", [1, 1000])
def test_true_at_the_start_of_a_segment_is_no_rise(size: int) -> None:
    rows = [*gear("0 P", 6000), *gear("0 R", 3000)]
    results = in_pieces(REVERSE + EDGE, frames(rows), size)
    assert triggered(results) == []
    assert results.checks[0].start_not_seen == 1


@pytest.mark.parametrize("size", [1, 5, 1000])
def test_many_steps_back(size: int) -> None:
    """Two clocks in one file, told in turn: every other frame steps back."""
    rows = [(9000.0 if i % 2 else 10.0 * i, 256, "0000") for i in range(400)]
    results = in_pieces(EDGE, frames(rows), size)
    assert results.segments == 200
    assert triggered(results) == []


def test_a_source_of_states_does_not_hold_a_new_segment_back() -> None:
    """It said once how far it is complete, and has no stamps that could step back."""
    engine = Engine(plan(EDGE), ["states", "frames"])
    engine.push("states", replace(states(), complete_to_ns=ns(100_000)))
    engine.push("frames", frames(TWO_RUNS))
    told_so_far = [x.t_ns // 1_000_000 for x in engine.advance()]
    assert told_so_far == [5000, 1000]


def test_lines_of_a_closed_segment_are_returned_by_the_next_advance() -> None:
    """A line may be released by a batch that begins a new segment."""
    batch = frames(TWO_RUNS)
    engine = Engine(plan(EDGE), ["frames"])
    lines = []
    for i in range(len(batch)):
        engine.push("frames", batch.cut(i, i + 1))
        if i % 20 == 19:
            lines += engine.advance()
    lines += engine.advance()
    assert tuple(lines) == engine.finish().log


# The log.


def test_lines_come_in_the_order_in_which_they_were_decided() -> None:
    """A debounced edge is told 40 ms late, after a lamp that came later; t_ns and rank come next."""
    rest = check('when = "rises(lamp)"\nexpect = "brake"\nwithin = "20 ms"') + trigger("rises(switch)", "switch")
    rest += trigger("rises(lamp)", "lamp")
    box = polls("0 F, 1020 T", 3000, switch="0 F, 1000 T")
    results = evaluate(rest, 3000, frames(brake("0 0", 3000)), box)
    assert [(x.decided_ns // 1_000_000, x.t_ns // 1_000_000, x.kind, x.name) for x in results.log] == [
        (1020, 1020, "trigger", "lamp"),
        (1040, 1000, "trigger", "switch"),
        (1040, 1020, "failed", "c"),
    ]


def test_what_a_line_says() -> None:
    rest = REVERSE + EDGE
    results = evaluate(rest, 3000, frames(gear("0 P, 1000 R, 2000 P", 3000)), polls("0 F, 1200 T", 3000))
    assert [(x.kind, x.name, x.text, x.rank) for x in results.log] == [
        ("trigger", "t", "gear R", 1),
        ("passed", "c", "after 200.0 ms", 0),
    ]


def test_nothing_is_evaluated_until_every_source_has_spoken() -> None:
    engine = Engine(plan(EDGE), ["frames", "box"])
    engine.push("frames", replace(frames(gear("0 P, 1000 R", 3000)), complete_to_ns=ns(3000)))
    assert engine.advance() == []
    assert engine.pending_rows == 30
    engine.push("box", polls("", 500))
    assert engine.advance() == []
    engine.push("box", replace(empty_polls(), complete_to_ns=ns(1000)))
    assert engine.advance() == [], "the frame at 1000 ms is not seen yet"
    engine.push("box", replace(empty_polls(), complete_to_ns=ns(1000) + 1))
    assert [x.kind for x in engine.advance()] == ["trigger"]
    assert engine.pending_rows == 19


def empty_polls() -> InputBatch:
    return polls("", 0).cut(0, 0)


def test_no_data_at_all() -> None:
    """No frame, no poll: nothing was put to the test, and nothing is known."""
    results = run(plan(REST + check('never = "lamp"', "n")), [("frames", empty_frames())])
    assert [c.verdict.value for c in results.checks] == ["not exercised", "not exercised"]
    assert (results.start_ns, results.end_ns, results.log) == (None, None, ())


def test_in_order_of_the_bench_file_within_one_instant() -> None:
    """Frames before polls, and all of one instant at once: the lamp that comes with the gear was on already."""
    drive = in_order(gear("0 P, 1000 R", 3000))
    data: list[Batch] = [frames(drive), polls("0 F, 1000 T", 3000)]
    assert told(evaluate(REVERSE, 3000, *data).checks[0]) == ["1000 already so @1000"]
