"""Which bus a channel belongs to, two buses at once, and channels and boxes that go down or sleep."""

from __future__ import annotations

from random import Random

import pytest
from drive import (
    HEAD,
    SIGNALS,
    brake,
    check,
    chunks,
    deal,
    evaluate,
    frames,
    gear,
    in_order,
    ns,
    on_channels,
    pid_0d,
    plan,
    polls,
    run,
    states,
    told,
    trigger,
    triggered,
)

from busprobe.bench.load import loads
from busprobe.bench.model import NO_BENCH
from busprobe.engine.mapping import bus_names
from busprobe.errors import BenchError
from busprobe.frames import ERROR, SENT, FrameBatch

REVERSE = check('when = "gear == \'R\'"\nexpect = "lamp"\nwithin = "300 ms"')
EDGE = trigger("rises(gear == 'R')")


def bench(*buses: str) -> str:
    """A bench file with these buses; each "name" or "name=channel,channel"."""
    head = HEAD.replace('[[bus]]\nname = "body"\n', "")
    for bus in buses:
        name, _, channels = bus.partition("=")
        listed = ", ".join(f'"{c}"' for c in channels.split(",") if c)
        head += f'[[bus]]\nname = "{name}"\nrecorded_as = [{listed}]\n'
    return head


MAPPINGS = [
    ("equal name", ["body", "chassis"], ["chassis", "body"], ["chassis", "body"]),
    ("recorded_as", ["body=can0", "chassis=can1,vcan1"], ["vcan1", "can0"], ["chassis", "body"]),
    ("equal name outweighs recorded_as", ["body=can0", "can0=x"], ["can0", "x"], ["can0", "can0"]),
    ("one of each", ["body"], ["can7"], ["body"]),
    ("one of each, listed otherwise", ["body=can0"], ["can7"], ["body"]),
    ("two names of one bus", ["body=can0,can1"], ["can0", "can1"], ["body", "body"]),
    ("no channels", ["body", "chassis"], [], []),
]


@pytest.mark.parametrize(("buses", "channels", "expected"), [m[1:] for m in MAPPINGS], ids=[m[0] for m in MAPPINGS])
def test_bus_of_each_channel(buses: list[str], channels: list[str], expected: list[str]) -> None:
    assert list(bus_names(channels, loads(bench(*buses)))) == expected


def test_without_a_bench_file_each_channel_is_its_own_bus() -> None:
    assert bus_names(["can0", "can7"], NO_BENCH) == ("can0", "can7")


LOST = [
    ("two buses", ["body", "chassis"], ["can0"], "can0", '"can0". Buses here: "body", "chassis".'),
    ("two channels", ["body"], ["body", "can1"], "can1", '"body", "can1". Buses here: "body".'),
    ("no bus", [], ["can0"], "can0", '"can0". Buses here: none.'),
]


@pytest.mark.parametrize(("buses", "channels", "lost", "sides"), [m[1:] for m in LOST], ids=[m[0] for m in LOST])
def test_a_channel_that_matches_no_bus(buses: list[str], channels: list[str], lost: str, sides: str) -> None:
    with pytest.raises(BenchError) as caught:
        bus_names(channels, loads(bench(*buses)))
    assert str(caught.value) == (
        f'Channel "{lost}" of the recording matches no bus. Channels recorded: {sides}\n'
        f'Add recorded_as = ["{lost}"] to the [[bus]] that it is.'
    )


@pytest.mark.parametrize("size", [1, 1000])
def test_a_channel_that_matches_no_bus_stops_the_engine(size: int) -> None:
    """However few frames came before it."""
    rows = [(t, "can0" if t < 900 else "can1", i, p) for t, i, p in gear("0 P", 1000)]
    batch = on_channels(rows)
    pieces = [batch.cut(i, min(i + size, len(batch))) for i in range(0, len(batch), size)]
    with pytest.raises(BenchError, match='Channel "can0" of the recording matches no bus'):
        run(plan(EDGE), [("frames", piece) for piece in pieces])


# Two buses.

TWO = bench("body=can0", "chassis=can1") + SIGNALS.replace("body.Brake", "chassis.Brake")


def test_one_identifier_on_two_buses() -> None:
    """The chassis bus carries a gear message too, which is not asked for, and the brake."""
    rows = [(t, "can0", i, p) for t, i, p in gear("0 P, 1000 R", 3000)]
    rows += [(t + 1, "can1", i, p) for t, i, p in gear("0 D", 3000)]
    rows += [(t + 2, "can1", i, p) for t, i, p in brake("0 0, 1200 1", 3000)]
    rows += [(t + 3, "can0", i, p) for t, i, p in brake("0 1, 1100 0", 3000)]
    rest = EDGE + trigger("rises(brake)", "b") + trigger("falls(brake)", "f")
    results = evaluate(rest, 3000, on_channels(sorted(rows)), head=TWO)
    assert triggered(results) == ["1000 t", "1202 b"]


def test_two_buses_as_two_sources() -> None:
    """Each bus from a source of its own, in whatever order their batches come."""
    body = frames(gear("0 P, 1000 R, 2000 P", 3000), "can0")
    chassis = frames(brake("0 0, 1200 1", 3000), "can1")
    given = plan(EDGE + trigger("rises(brake) and gear == 'R'", "both"), TWO)
    pieces = {name: chunks(batch, 1, ns(3000)) for name, batch in (("a", body), ("b", chassis))}
    results = [run(given, deal(pieces, Random(seed)), advance_every=1) for seed in range(3)]
    assert results[1:] == results[:1] * 2
    assert triggered(results[0]) == ["1000 t", "1200 both"]


def test_one_bus_sleeps_while_the_other_goes_on() -> None:
    rows = [(t, "can0", i, p) for t, i, p in gear("0 P, 1001 -, 6000 R", 8000)]
    rows += [(t, "can1", i, p) for t, i, p in brake("0 0", 8000)]
    results = evaluate(check('always = "known(gear) or brake"'), 8000, on_channels(sorted(rows)), head=TWO)
    assert told(results.checks[0]) == ["0 passed for 8000 @8000"]
    assert [(x.kind, x.name, x.t_ns // 1_000_000, x.decided_ns // 1_000_000, x.text) for x in results.log[:2]] == [
        ("asleep", "body", 1000, 3000, "nothing heard on body since"),
        ("awake", "body", 6000, 6000, "first frame after it: 100"),
    ]


# Sleep.


def test_checks_open_nothing_across_a_sleep() -> None:
    """Reverse is selected while the bus sleeps: not seen to become so."""
    rest = REVERSE + check("never = \"gear == 'R' and lamp\"", "n")
    drive = gear("0 P, 1001 -, 5000 R", 8000)
    results = evaluate(rest, 8000, frames(drive), polls("", 8000))
    assert told(results.checks[0]) == []
    assert results.checks[0].start_not_seen == 1
    assert results.checks[1].verdict.value == "pass"


def test_a_signal_that_does_not_come_back_with_the_bus() -> None:
    drive = in_order(gear("0 P, 1001 -", 8000), brake("0 0, 1001 -, 5000 0", 8000))
    results = evaluate(check("never = \"gear == 'R'\""), 7950, frames(drive))
    assert told(results.checks[0]) == ["5300.000001 undecided for 2649.999999 @5300.000001"]
    assert dict(results.checks[0].occurrences[0].signals or {}) == {"gear": "unknown (lost)"}


def with_flags(batch: FrameBatch, flags: dict[int, int]) -> FrameBatch:
    """The batch with these flags by identifier."""
    for identifier, flag in flags.items():
        batch.flags[batch.identifier == identifier] = flag
    return batch


def test_requests_of_our_own_and_error_frames_keep_no_bus_awake() -> None:
    asked = pid_0d([(t, 0) for t in range(1000, 8000, 500)])[::2]
    errors = [(float(t), 1, "00") for t in range(1200, 8000, 100)]
    batch = with_flags(frames(in_order(gear("0 P, 951 -", 8000), asked, errors)), {0x7DF: SENT, 1: ERROR})
    results = evaluate("", 8000, batch)
    assert [(x.kind, x.t_ns // 1_000_000, x.decided_ns // 1_000_000) for x in results.log] == [("asleep", 900, 2900)]


def test_frames_sent_by_the_recording_machine_count() -> None:
    """A recording of a simulated bus: all its frames were sent, and are samples like any other."""
    batch = with_flags(frames(gear("0 P, 1000 R, 2001 -, 2900 P", 4000)), {256: SENT})
    results = evaluate(EDGE + check('always = "known(gear)"'), 3950, batch)
    assert triggered(results) == ["1000 t"]
    # Lost at 2300 ms, told by the next frame.
    assert told(results.checks[0]) == ["2300.000001 failed for 599.999999 @2900"]


# Sources that go down.


def test_a_channel_that_is_down_is_unknown_until_its_next_frame() -> None:
    drive = gear("0 P, 1001 -, 3050 P, 3500 R", 5000)
    rest = check("never = \"gear == 'R' and lamp\"") + EDGE
    down = states((1020, "body", "down"), (3000, "body", "up"))
    results = evaluate(rest, 5000, frames(drive), polls("0 T", 5000), down)
    assert told(results.checks[0])[0] == "1020 undecided for 2030 @1020"
    assert triggered(results) == ["3500 t"]
    assert not [x for x in results.log if x.kind in ("asleep", "awake")]


def test_states_name_the_channel_as_it_was_recorded() -> None:
    """The recording calls the bus can0."""
    drive = gear("0 P, 1001 -, 3050 P", 5000)
    down = states((1020, "can0", "down"), (3000, "can0", "up"))
    results = evaluate(check("never = \"gear == 'R'\""), 4950, frames(drive, "can0"), down)
    assert told(results.checks[0]) == ["1020 undecided for 2030 @1020"]


def test_up_before_the_first_frame_is_no_sleep_and_no_wake() -> None:
    drive = frames([(1000, 9, ""), *gear("0 -, 1100 P", 5000)])
    results = evaluate(check("never = \"gear == 'R'\""), 4950, drive, states((0, "body", "up")))
    assert told(results.checks[0]) == ["1100 passed for 3850 @4950"]
    assert [x.kind for x in results.log] == ["passed"]


def test_a_box_that_is_down_is_unknown_until_its_next_poll() -> None:
    box = polls("0 T", 5000, without=(1000, 3000))
    rest = check('never = "not lamp"') + trigger("rises(lamp)")
    results = evaluate(rest, 5000, box, states((1040, "box", "down"), (2990, "box", "up")))
    assert told(results.checks[0]) == ["1040 undecided for 1960 @1040"]
    assert dict(results.checks[0].occurrences[0].signals or {}) == {"lamp": "unknown (box down)"}
    assert triggered(results) == []


def test_a_box_that_goes_down_in_a_bounce() -> None:
    box = polls("", 5000, switch="0 F, 1000 T", without=(1030, 3000))
    results = evaluate(trigger("rises(switch)") + check('never = "switch"'), 5000, box, states((1030, "box", "down")))
    assert triggered(results) == []
    assert told(results.checks[0])[0] == "1000 undecided for 2000 @1030"


def test_a_source_that_is_down_for_an_instant() -> None:
    """Down and up again with a frame at that time: one instant, in which the frame came last."""
    down = states((1000, "body", "down"), (1000, "body", "up"))
    results = evaluate(trigger("changes(gear)"), 3000, frames(gear("0 P, 1000 R, 2000 P", 3000)), down)
    assert triggered(results) == ["1000 t", "2000 t"]


def test_a_state_of_a_source_that_nobody_asks_for() -> None:
    results = evaluate(EDGE, 3000, frames(gear("0 P, 1000 R", 3000)), states((500, "trailer", "down")))
    assert triggered(results) == ["1000 t"]


def test_a_frame_too_short_for_the_signal_is_no_sample_of_it() -> None:
    rows = in_order(gear("0 P, 2001 -, 3000 P", 3000), [(2050.0, 256, ""), (2500.0, 9, "")])
    results = evaluate(check('always = "known(gear)"'), 3000, frames(rows))
    assert told(results.checks[0]) == ["2300.000001 failed for 699.999999 @2500"]
